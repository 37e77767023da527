/**
 * The three looks, one table: ink of one hue at three strengths, on one dark sheet.
 *
 * Night is long-wavelength light only. No pixel of it may hold more green than NIGHT_GREEN_MAX or more blue than
 * NIGHT_BLUE_MAX (of 255); a test reads the rendered picture.
 */
import type { Look } from "../state/store";

export const NIGHT_GREEN_MAX = 24;
export const NIGHT_BLUE_MAX = 12;

export type Rgb = readonly [number, number, number];

export interface Inks {
  readonly sheet: Rgb;
  readonly whisper: Rgb;
  readonly speak: Rgb;
  readonly shout: Rgb;
  /** Land and water beneath the ink, darkest strokes of the same hue. */
  readonly land: Rgb;
  readonly drying: Rgb;
  readonly shoal: Rgb;
  /** Pontoons, hulks: what is built upon water. */
  readonly built: Rgb;
  readonly coast: Rgb;
  readonly contour: Rgb;
  /** The contour that bounds water too shoal for this boat. */
  readonly safety: Rgb;
  readonly bridge: Rgb;
  /** Radar echo, weak and strong. */
  readonly echoWeak: Rgb;
  readonly echoStrong: Rgb;
}

export const LOOKS: Readonly<Record<Look, Inks>> = {
  night: {
    sheet: [0, 0, 0],
    whisper: [112, 4, 2],
    speak: [196, 14, 6],
    shout: [255, 22, 10],
    land: [20, 1, 0],
    drying: [14, 0, 0],
    shoal: [9, 0, 0],
    built: [34, 1, 0],
    coast: [92, 4, 2],
    contour: [40, 1, 0],
    safety: [70, 3, 1],
    bridge: [112, 4, 2],
    echoWeak: [62, 2, 0],
    echoStrong: [150, 8, 3],
  },
  dusk: {
    sheet: [9, 7, 5],
    whisper: [138, 100, 62],
    speak: [214, 168, 116],
    shout: [255, 218, 164],
    land: [38, 29, 20],
    drying: [30, 23, 16],
    shoal: [21, 16, 11],
    built: [52, 40, 27],
    coast: [128, 94, 60],
    contour: [58, 44, 30],
    safety: [104, 76, 48],
    bridge: [138, 100, 62],
    echoWeak: [88, 62, 34],
    echoStrong: [190, 140, 84],
  },
  day: {
    sheet: [22, 27, 30],
    whisper: [150, 164, 168],
    speak: [218, 228, 230],
    shout: [255, 255, 252],
    land: [60, 68, 70],
    drying: [48, 56, 58],
    shoal: [36, 43, 46],
    built: [78, 88, 90],
    coast: [150, 164, 168],
    contour: [74, 84, 88],
    safety: [122, 136, 140],
    bridge: [160, 174, 178],
    echoWeak: [96, 114, 118],
    echoStrong: [206, 220, 222],
  },
};

export function css(rgb: Rgb, alpha = 1): string {
  return alpha === 1 ? `rgb(${rgb[0]} ${rgb[1]} ${rgb[2]})` : `rgb(${rgb[0]} ${rgb[1]} ${rgb[2]} / ${alpha})`;
}

/** Relative luminance of sRGB, 0..1. Source: WCAG 2.2, "relative luminance". */
export function luminance(rgb: Rgb): number {
  const linear = (v: number): number => {
    const s = v / 255;
    return s <= 0.04045 ? s / 12.92 : ((s + 0.055) / 1.055) ** 2.4;
  };
  return 0.2126 * linear(rgb[0]) + 0.7152 * linear(rgb[1]) + 0.0722 * linear(rgb[2]);
}

/** Contrast of two colours, 1..21. Source: WCAG 2.2, "contrast ratio". */
export function contrast(a: Rgb, b: Rgb): number {
  const [low, high] = [luminance(a), luminance(b)].sort((x, y) => x - y) as [number, number];
  return (high + 0.05) / (low + 0.05);
}

/** Night below six degrees under the horizon (civil twilight's end), dusk until the sun is up. */
export function lookBySun(altitudeDeg: number): Look {
  if (altitudeDeg < -6) return "night";
  return altitudeDeg < 0 ? "dusk" : "day";
}

export function paint(look: Look): void {
  const root = document.documentElement;
  const inks = LOOKS[look];
  for (const name of ["sheet", "whisper", "speak", "shout"] as const) root.style.setProperty(`--${name}`, css(inks[name]));
  root.dataset["look"] = look;
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", look === "night" ? "#000000" : css(inks.sheet));
}
