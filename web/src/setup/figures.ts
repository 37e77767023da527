/** Figures as a skipper reads and types them. Pure. */
export type LengthUnit = "metres" | "feet";

/** The international foot, by definition. */
export const FOOT_M = 0.3048;

export function fromMetres(m: number, unit: LengthUnit): number {
  return unit === "feet" ? m / FOOT_M : m;
}

export function toMetres(value: number, unit: LengthUnit): number {
  return unit === "feet" ? value * FOOT_M : value;
}

/** Up to so many digits after the point, none that say nothing. */
export function shown(value: number, digits = 2): string {
  const text = value.toFixed(digits);
  return text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
}

/** A figure as typed; null where it is none. A comma is a point to half the world. */
export function parsed(text: string): number | null {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (!/^-?(\d+\.?\d*|\.\d+)$/.test(plain)) return null;
  return Number(plain);
}

/** The next figure a step away, on the step's own grid, within bounds. */
export function stepped(value: number, step: number, direction: 1 | -1, low: number | null, high: number | null): number {
  const next = (Math.round(value / step) + direction) * step;
  const bounded = Math.min(Math.max(next, low ?? -Infinity), high ?? Infinity);
  return Number(bounded.toFixed(6));
}

/** What a key does to a figure being typed. */
export function typed(text: string, key: string): string {
  if (key === "Backspace") return text.slice(0, -1);
  if (key === "-") return text.startsWith("-") ? text.slice(1) : `-${text}`;
  if (key === "." || key === ",") return text.includes(".") ? text : `${text === "" || text === "-" ? `${text}0` : text}.`;
  if (/^\d$/.test(key)) return text.length >= 12 ? text : text === "0" ? key : text + key;
  return text;
}

/** One sentence about a figure out of bounds; null where it is fine. */
export function outOfBounds(value: number, low: number | null, high: number | null, say: (v: number) => string): string | null {
  if (low !== null && value < low) return `That is less than ${say(low)}, the least that can be.`;
  if (high !== null && value > high) return `That is more than ${say(high)}, the most that can be.`;
  return null;
}

/** "1:12 000" */
export function scaleWords(scale: number): string {
  return `1:${String(scale).replace(/\B(?=(\d{3})+$)/g, " ")}`;
}

/** "3 years", "5 months", "12 days" */
export function ageWords(days: number): string {
  if (days >= 730) return `${Math.floor(days / 365.25)} years`;
  if (days >= 60) return `${Math.floor(days / 30.44)} months`;
  const whole = Math.max(0, Math.round(days));
  return `${whole} day${whole === 1 ? "" : "s"}`;
}
