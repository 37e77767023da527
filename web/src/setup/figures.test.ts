import { describe, expect, it } from "vitest";
import { ageWords, fromMetres, outOfBounds, parsed, scaleWords, shown, stepped, toMetres, typed } from "./figures";

describe("figures", () => {
  it("turns feet into metres and back", () => {
    // The international foot: 0.3048 m by definition (1959 agreement).
    expect(toMetres(10, "feet")).toBeCloseTo(3.048, 9);
    expect(fromMetres(toMetres(31.25, "feet"), "feet")).toBeCloseTo(31.25, 9);
    expect(toMetres(9.2, "metres")).toBe(9.2);
  });
  it("reads what a person types, and nothing else", () => {
    expect(parsed("9,2")).toBe(9.2);
    expect(parsed("-.5")).toBe(-0.5);
    expect(parsed("12.")).toBe(12);
    for (const bad of ["", "-", "1e3", "0x10", "NaN", "1.2.3", "nine"]) expect(parsed(bad)).toBeNull();
  });
  it("types figure by figure", () => {
    let text = "";
    for (const key of ["0", "9", ".", ".", "2", "x", "5", "Backspace", "-"]) text = typed(text, key);
    expect(text).toBe("-9.2");
  });
  it("steps on its own grid and stays within bounds", () => {
    expect(stepped(9.23, 0.1, 1, 2, 60)).toBe(9.3);
    expect(stepped(9.3, 0.1, -1, 2, 60)).toBe(9.2);
    expect(stepped(60, 0.1, 1, 2, 60)).toBe(60);
  });
  it("says plainly what is out of bounds", () => {
    const say = (v: number): string => `${v} metres`;
    expect(outOfBounds(1, 2, 60, say)).toBe("That is less than 2 metres, the least that can be.");
    expect(outOfBounds(70, 2, 60, say)).toContain("more than 60 metres");
    expect(outOfBounds(9, 2, 60, say)).toBeNull();
  });
  it("shows no digit that says nothing", () => {
    expect([shown(9), shown(9.2), shown(0.25), shown(100), shown(0)]).toEqual(["9", "9.2", "0.25", "100", "0"]);
    expect(scaleWords(12000)).toBe("1:12 000");
    expect([ageWords(800), ageWords(100), ageWords(1)]).toEqual(["2 years", "3 months", "1 day"]);
  });
});
