/**
 * The three looks, one table: ink of one hue at three strengths on one sheet, dark but by day, when the sun is on it.
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
    whisper: [126, 5, 2],
    speak: [204, 14, 6],
    shout: [255, 22, 10],
    land: [66, 3, 1],
    drying: [46, 2, 0],
    shoal: [32, 1, 0],
    built: [84, 4, 1],
    coast: [150, 8, 3],
    contour: [62, 2, 0],
    safety: [178, 10, 4],
    bridge: [150, 6, 3],
    echoWeak: [112, 5, 2],
    echoStrong: [168, 10, 4],
  },
  dusk: {
    sheet: [9, 7, 5],
    whisper: [138, 100, 62],
    speak: [214, 168, 116],
    shout: [255, 218, 164],
    land: [66, 51, 35],
    drying: [48, 38, 26],
    shoal: [36, 28, 19],
    built: [84, 66, 45],
    coast: [150, 112, 72],
    contour: [74, 57, 39],
    safety: [182, 138, 90],
    bridge: [150, 112, 72],
    echoWeak: [110, 76, 40],
    echoStrong: [226, 168, 100],
  },
  day: {
    sheet: [238, 240, 236],
    whisper: [108, 118, 120],
    speak: [46, 56, 60],
    shout: [8, 12, 14],
    land: [206, 200, 184],
    drying: [198, 212, 198],
    shoal: [204, 220, 226],
    built: [186, 178, 160],
    coast: [90, 84, 72],
    contour: [168, 184, 190],
    safety: [48, 84, 96],
    bridge: [70, 66, 60],
    echoWeak: [206, 150, 120],
    echoStrong: [150, 52, 18],
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
  for (const name of ["sheet", "whisper", "speak", "shout", "land", "shoal", "coast", "safety"] as const) root.style.setProperty(`--${name}`, css(inks[name]));
  root.style.colorScheme = look === "day" ? "light" : "dark";
  root.dataset["look"] = look;
  document.querySelector('meta[name="theme-color"]')?.setAttribute("content", look === "night" ? "#000000" : css(inks.sheet));
}
