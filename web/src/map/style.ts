/** The chart's style, generated from the looks' one table: decluttered, everything explained in a whisper. */
import type { ExpressionSpecification, FilterSpecification, LayerSpecification, LineLayerSpecification, StyleSpecification } from "maplibre-gl";
import { css, type Inks, type Rgb } from "../look/table";
import type { ChartData } from "../state/types";
import { unknownName } from "./unknown";

/** Contours deeper than this say nothing to a small boat. Metres. */
const DEEPEST_CONTOUR_M = 30;

const is = (...kinds: string[]): FilterSpecification => ["in", ["get", "k"], ["literal", kinds]];

/** Where a chart's tiles lie, as an address that a worker can ask. */
export function tilesOf(chart: ChartData): string[] {
  // Put together by hand: an address object would escape the braces.
  const base = document.baseURI.replace(/[^/]*$/, "");
  return chart.tiles.map((tile) => base + tile);
}

/**
 * Water shoaler than ``safetyM`` is lifted from the sheet, and the contour that bounds it is the one strong line of the
 * chart. Where it has nothing the hatching of unknown water stands, and with no chart at all nothing is drawn: what
 * lies under the map says so.
 */
export function chartStyle(inks: Inks, chart: ChartData | null, safetyM: number, tiles: (chart: ChartData) => string[] = tilesOf): StyleSpecification {
  if (chart === null) return { version: 8, sources: {}, layers: [] };
  const depth: ExpressionSpecification = [
    "case",
    ["!", ["has", "d"]],
    css(inks.shoal),
    ["<", ["get", "d"], 0],
    css(inks.drying),
    ["<", ["get", "d"], safetyM],
    css(inks.shoal),
    css(inks.sheet),
  ];
  const isSafety: FilterSpecification = ["all", ["==", ["get", "k"], "contour"], ["<", ["get", "a"], safetyM], [">=", ["get", "b"], safetyM]];
  const isOther: FilterSpecification = ["all", ["==", ["get", "k"], "contour"], ["!", isSafety] as ExpressionSpecification, ["<=", ["get", "b"], DEEPEST_CONTOUR_M]];
  return {
    version: 8,
    sources: {
      chart: { type: "vector", tiles: tiles(chart), minzoom: chart.minzoom, maxzoom: chart.maxzoom, bounds: [...chart.bounds] },
    },
    layers: [
      { id: "unknown", type: "background", paint: { "background-pattern": unknownName(inks) } },
      // Charted, but nothing is said of the depth: never as deep as what is known to be deep.
      fill("cover", is("cover"), css(inks.shoal)),
      fill("depth", is("depth"), depth),
      fill("land", is("land"), css(inks.land)),
      fill("built", is("built"), css(inks.built)),
      stroke("contour", isOther, inks.contour, 1, undefined, { minzoom: 11 }),
      stroke("inland", is("inland", "house"), inks.contour, 1),
      stroke("fairway", is("fairway"), inks.contour, 1.2, [10, 5]),
      stroke("lead", is("lead"), inks.coast, 1, [14, 3]),
      stroke("area", is("area"), inks.contour, 1.3, [5, 4]),
      stroke("anchorage", is("anchorage"), inks.contour, 1.3, [10, 3, 1.5, 3]),
      stroke("cable", is("cable"), inks.contour, 1.3, [3, 3]),
      stroke("cables", is("cables"), inks.contour, 1.3, [1.5, 3]),
      stroke("overhead", is("overhead"), inks.coast, 1.2, [1.5, 2.5]),
      // Not to be entered: a comb whose teeth point inwards.
      stroke("entry", is("entry"), inks.coast, 1.1),
      stroke("entry-teeth", is("entry"), inks.coast, 6, [0.2, 1.6], { paint: { "line-offset": 3 } }),
      stroke("safety", isSafety, inks.safety, 2, [7, 1.6]),
      stroke("foul", is("foul"), inks.coast, 1.4, [1.2, 2]),
      stroke("stakes", is("stakes"), inks.coast, 1.2, [2, 2]),
      stroke("shore", is("shore"), inks.coast, 1.2),
      stroke("drowned", is("drowned"), inks.coast, 1.8, [3, 2]),
      stroke("works", is("works"), inks.coast, 1.9),
      // The double bar of a bridge; of one that opens it is broken.
      stroke("bridge", ["all", is("bridge"), ["!=", ["get", "b"], 1]] as FilterSpecification, inks.bridge, 1.6, undefined, { paint: { "line-gap-width": 5 } }),
      stroke("bridge-opens", ["all", is("bridge"), ["==", ["get", "b"], 1]] as FilterSpecification, inks.bridge, 1.6, [3, 1.5], { paint: { "line-gap-width": 5 } }),
    ],
  };
}

function fill(id: string, filter: FilterSpecification, colour: string | ExpressionSpecification): LayerSpecification {
  return { id, type: "fill", source: "chart", "source-layer": "area", filter, paint: { "fill-color": colour, "fill-antialias": false } };
}

interface More {
  readonly minzoom?: number;
  readonly paint?: LineLayerSpecification["paint"];
}

function stroke(id: string, filter: FilterSpecification, colour: Rgb, width: number, dash?: number[], more: More = {}): LayerSpecification {
  return {
    id,
    type: "line",
    source: "chart",
    "source-layer": "line",
    filter,
    ...(more.minzoom === undefined ? {} : { minzoom: more.minzoom }),
    paint: { "line-color": css(colour), "line-width": width, ...(dash === undefined ? {} : { "line-dasharray": dash }), ...more.paint },
  };
}
