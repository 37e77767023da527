/** The chart's style, generated from the looks' one table: decluttered, everything explained in a whisper. */
import type { StyleSpecification, ExpressionSpecification, FilterSpecification } from "maplibre-gl";
import { css, type Inks } from "../look/table";

/** Water shoaler than this is lifted from the sheet. Metres; the boat's own limit is the reading's business. */
const SHOAL_M = 5;

const is = (...kinds: string[]): FilterSpecification => ["in", ["get", "k"], ["literal", kinds]];

export function chartStyle(inks: Inks, shapes: GeoJSON.FeatureCollection): StyleSpecification {
  const depth: ExpressionSpecification = [
    "case",
    ["==", ["get", "d"], null],
    css(inks.shoal),
    ["<", ["get", "d"], 0],
    css(inks.drying),
    ["<", ["get", "d"], SHOAL_M],
    css(inks.shoal),
    css(inks.sheet),
  ];
  return {
    version: 8,
    sources: { chart: { type: "geojson", data: shapes, tolerance: 0.3, maxzoom: 15, buffer: 32 } },
    layers: [
      { id: "sheet", type: "background", paint: { "background-color": css(inks.sheet) } },
      { id: "depth", type: "fill", source: "chart", filter: is("depth"), paint: { "fill-color": depth, "fill-antialias": false } },
      { id: "land", type: "fill", source: "chart", filter: is("land"), paint: { "fill-color": css(inks.land) } },
      { id: "contour", type: "line", source: "chart", filter: is("contour"), paint: { "line-color": css(inks.contour), "line-width": 1 } },
      {
        id: "area", type: "line", source: "chart", filter: is("area"),
        paint: { "line-color": css(inks.contour), "line-width": 1.2, "line-dasharray": [6, 3] },
      },
      {
        id: "cable", type: "line", source: "chart", filter: is("cable"),
        paint: { "line-color": css(inks.contour), "line-width": 1, "line-dasharray": [2, 3] },
      },
      { id: "coast", type: "line", source: "chart", filter: is("land", "coast"), paint: { "line-color": css(inks.coast), "line-width": 1.1 } },
      { id: "works", type: "line", source: "chart", filter: is("works"), paint: { "line-color": css(inks.coast), "line-width": 1.8 } },
      // The double bar of a bridge.
      {
        id: "bridge", type: "line", source: "chart", filter: is("bridge"),
        paint: { "line-color": css(inks.coast), "line-width": 1.4, "line-gap-width": 4 },
      },
      {
        id: "coverage", type: "line", source: "chart", filter: is("coverage"),
        paint: { "line-color": css(inks.whisper), "line-width": 1.4, "line-dasharray": [1, 4] },
      },
    ],
  };
}
