/** A radar's knobs on the counts as they come; the same as src/moonless/practice/raw.py, held to the same examples. */
import type { Knobs, Pictures } from "./types";

export const COUNTS_PER_DB = 3;
export const NOISE_COUNT = 20;
export const GAIN_DB = [30, -3] as const;
export const SEA_FAR_M = 3704;
export const SEA_DB_A_DECADE = 30;
export const RAIN_MEAN_M = 250;
export const RAIN_SHARE = 0.9;
export const NEUTRAL: Knobs = { gain: 64, sea: 0, rain: 0, scale_nm: 1.5 };

export type Grid = Pick<Pictures, "n_spoke" | "n_cell" | "first_m" | "cell_m">;

export function thresholdDb(gain: number): number {
  return GAIN_DB[0] + ((GAIN_DB[1] - GAIN_DB[0]) * gain) / 100;
}

/** Decibels over the gain's threshold, row by row; above 0 is painted. */
export function levels(counts: Uint8Array, grid: Grid, knobs: Knobs): Float32Array {
  const { n_spoke: nSpoke, n_cell: nCell } = grid;
  const out = new Float32Array(nSpoke * nCell);
  const threshold = thresholdDb(knobs.gain);
  const taken = new Float64Array(nCell).fill(threshold);
  if (knobs.sea > 0) {
    const far = (SEA_FAR_M * knobs.sea) / 100;
    for (let j = 0; j < nCell; j++) {
      const range = Math.max(grid.first_m + j * grid.cell_m, 1);
      taken[j] = threshold + SEA_DB_A_DECADE * Math.log10(Math.max(far / range, 1));
    }
  }
  const width = Math.max(1, Math.round(RAIN_MEAN_M / grid.cell_m));
  const share = (RAIN_SHARE * knobs.rain) / 100;
  for (let i = 0; i < nSpoke; i++) {
    const row = i * nCell;
    let before = 0;
    for (let j = 0; j < nCell; j++) {
      const level = ((counts[row + j] ?? 0) - NOISE_COUNT) / COUNTS_PER_DB;
      let value = level - (taken[j] ?? 0);
      if (share > 0) {
        value -= (share * before) / Math.max(Math.min(j, width), 1);
        before += Math.max(level, 0);
        if (j >= width) before -= Math.max(((counts[row + j - width] ?? 0) - NOISE_COUNT) / COUNTS_PER_DB, 0);
      }
      out[row + j] = value;
    }
  }
  return out;
}
