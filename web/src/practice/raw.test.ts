import { readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { levels, thresholdDb } from "./raw";
import type { Knobs } from "./types";

interface Example {
  readonly grid: { readonly n_spoke: number; readonly n_cell: number; readonly first_m: number; readonly cell_m: number };
  readonly counts: readonly number[];
  readonly cases: readonly { readonly knobs: Knobs; readonly levels: readonly number[] }[];
}

/** The same examples as tests/practice/test_raw.py holds the Python to. */
const example = JSON.parse(readFileSync(new URL("../../../tests/practice/raw_examples.json", import.meta.url), "utf8")) as Example;

describe("the knobs", () => {
  it("stand where the manual says", () => {
    expect(thresholdDb(0)).toBe(30);
    expect(thresholdDb(100)).toBe(-3);
  });
  it("do as the helm's own do", () => {
    expect(example.cases.length).toBeGreaterThan(3);
    for (const { knobs, levels: wanted } of example.cases) {
      const found = levels(Uint8Array.from(example.counts), example.grid, knobs);
      wanted.forEach((level, k) => expect(Math.abs((found[k] ?? NaN) - level)).toBeLessThan(1e-3));
    }
  });
});
