/** What the chart says at single places, taken from the tiles in sight: the ink writes it upright, whatever way is up. */
import { mercatorX, mercatorY } from "../geo/mercator";

interface Thing {
  /** Units of the world's width, as `Plane` counts them. */
  readonly ux: number;
  readonly uy: number;
  /** Zoom it begins to show at. */
  readonly zoom: number;
}

export interface MarkThing extends Thing {
  readonly id: string;
  readonly object: string;
  readonly name: string | null;
  readonly isFloating: boolean;
  readonly isLit: boolean;
  readonly light: string | null;
}

export interface LightThing extends Thing {
  readonly sectors: readonly Sector[];
}

/** Bearings from seaward, degrees true, clockwise. */
export interface Sector {
  readonly fromDeg: number;
  readonly toDeg: number;
  readonly colours: string;
}

export interface BridgeThing extends Thing {
  readonly name: string | null;
  readonly clearM: number | null;
  readonly openM: number | null;
  readonly widthM: number | null;
  readonly opens: boolean;
}

export interface OverheadThing extends Thing {
  readonly name: string | null;
  readonly clearM: number | null;
}

export interface DangerThing extends Thing {
  readonly object: string;
  readonly name: string | null;
  readonly depthM: number | null;
  /** Least depth of the area it lies in; null: none, or not known. */
  readonly aroundM: number | null;
  /** Above water always or at times. */
  readonly shows: boolean;
}

export interface SoundingThing extends Thing {
  readonly depthM: number;
}

export interface NameThing extends Thing {
  readonly object: string;
  readonly name: string;
  /** How wide the named area is, units of the world's width; 0: a place. */
  readonly wide: number;
}

export interface Things {
  readonly marks: readonly MarkThing[];
  readonly lights: readonly LightThing[];
  readonly bridges: readonly BridgeThing[];
  readonly overheads: readonly OverheadThing[];
  readonly dangers: readonly DangerThing[];
  readonly soundings: readonly SoundingThing[];
  readonly names: readonly NameThing[];
}

export const NOTHING: Things = { marks: [], lights: [], bridges: [], overheads: [], dangers: [], soundings: [], names: [] };

/** What a tile's feature is, as the map library gives it. */
export interface Raw {
  readonly geometry: { readonly type: string; readonly coordinates?: unknown };
  readonly properties: Readonly<Record<string, unknown>>;
}

/** Equator of the sphere that the tiles' metres are counted on. */
const WORLD_M = 2 * Math.PI * 6378137;

/** Sort features of the tiles' point layer; each thing once, though tiles of two zooms may both hold it. */
export function thingsOf(features: readonly Raw[]): Things {
  const out = {
    marks: [] as MarkThing[], lights: [] as LightThing[], bridges: [] as BridgeThing[], overheads: [] as OverheadThing[],
    dangers: [] as DangerThing[], soundings: [] as SoundingThing[], names: [] as NameThing[],
  };
  const seen = new Set<string>();
  for (const feature of features) {
    const place = placeOf(feature);
    if (place === null) continue;
    const p = feature.properties;
    const kind = text(p, "k") ?? "";
    // Row numbers, where a source has no better names, count within a class. About two metres: places of tiles of two zooms differ by their steps.
    const where = `${Math.round(place[0] * 2e4)}|${Math.round(place[1] * 2e4)}`;
    const key = kind === "sounding" ? `s|${where}` : kind === "name" ? `n|${text(p, "n")}` : `${kind}|${text(p, "o") ?? ""}|${text(p, "f")}`;
    if (seen.has(key)) continue;
    seen.add(key);
    const at = { ux: mercatorX(place[0]), uy: mercatorY(place[1]), zoom: number(p, "z") ?? 0 };
    switch (kind) {
      case "mark":
        out.marks.push({
          ...at, id: text(p, "f") ?? "", object: text(p, "o") ?? "", name: text(p, "n"), isFloating: text(p, "h") === "floating",
          isLit: number(p, "lit") === 1, light: text(p, "t"),
        });
        break;
      case "light":
        out.lights.push({ ...at, sectors: sectorsOf(text(p, "s")) });
        break;
      case "bridge":
        out.bridges.push({ ...at, name: text(p, "n"), clearM: number(p, "c"), openM: number(p, "co"), widthM: number(p, "w"), opens: number(p, "b") === 1 });
        break;
      case "overhead":
        out.overheads.push({ ...at, name: text(p, "n"), clearM: number(p, "c") });
        break;
      case "danger":
        out.dangers.push({ ...at, object: text(p, "o") ?? "", name: text(p, "n"), depthM: number(p, "d"), aroundM: number(p, "a"), shows: text(p, "h") === "shows" });
        break;
      case "sounding": {
        const depthM = number(p, "d");
        if (depthM !== null) out.soundings.push({ ...at, depthM });
        break;
      }
      case "name":
        out.names.push({ ...at, object: text(p, "o") ?? "", name: text(p, "n") ?? "", wide: (number(p, "w") ?? 0) / WORLD_M });
        break;
    }
  }
  // Shoaler first: where two have room for one, the one that matters stands. Larger names before lesser.
  out.soundings.sort((a, b) => a.zoom - b.zoom || a.depthM - b.depthM);
  out.names.sort((a, b) => b.wide - a.wide);
  out.marks.sort((a, b) => a.zoom - b.zoom);
  return out;
}

function placeOf(feature: Raw): [number, number] | null {
  const { type, coordinates } = feature.geometry;
  const first: unknown = type === "Point" ? coordinates : type === "MultiPoint" && Array.isArray(coordinates) ? (coordinates[0] as unknown) : null;
  if (!Array.isArray(first)) return null;
  const [lon, lat] = first as unknown[];
  return typeof lon === "number" && typeof lat === "number" ? [lon, lat] : null;
}

function sectorsOf(json: string | null): Sector[] {
  if (json === null) return [];
  try {
    const list: unknown = JSON.parse(json);
    if (!Array.isArray(list)) return [];
    return list.flatMap((one: unknown): Sector[] => {
      const [fromDeg, toDeg, colours] = Array.isArray(one) ? (one as unknown[]) : [];
      return typeof fromDeg === "number" && typeof toDeg === "number" ? [{ fromDeg, toDeg, colours: typeof colours === "string" ? colours : "" }] : [];
    });
  } catch {
    return [];
  }
}

function text(p: Readonly<Record<string, unknown>>, key: string): string | null {
  const value = p[key];
  return typeof value === "string" && value !== "" ? value : null;
}

function number(p: Readonly<Record<string, unknown>>, key: string): number | null {
  const value = p[key];
  return typeof value === "number" && Number.isFinite(value) ? value : null;
}
