/**
 * A short tone for each urgency, once the skipper has agreed to it. An alarm sounds again until it is acknowledged, a
 * warning after half a minute, a caution once (after IMO MSC.252(83), 20.2: audible until acknowledged, and again 30 s
 * after it was silenced); no tone of one urgency can be taken for another's.
 */
import type { Alert } from "../state/types";

interface Shape {
  /** Hertz, seconds, how often, seconds from one to the next, loudness 0..1. */
  readonly hz: number;
  readonly lasts: number;
  readonly times: number;
  readonly every: number;
  readonly gain: number;
}

/** Own choice: between engine rumble and wind, and apart by number as well as by pitch. */
export const SHAPES: Readonly<Record<number, Shape>> = {
  2: { hz: 494, lasts: 0.16, times: 1, every: 0, gain: 0.25 },
  3: { hz: 740, lasts: 0.14, times: 2, every: 0.24, gain: 0.5 },
  4: { hz: 1175, lasts: 0.11, times: 4, every: 0.17, gain: 0.85 },
};
const AGAIN_MS: Readonly<Record<number, number>> = { 3: 30_000, 4: 10_000 };

/** Which tone is due now, and what was sounded when; pure. Silence lets alarms through. */
export class ToneWatch {
  readonly #sounded = new Map<string, { urgency: number; atMs: number }>();

  /** The urgency to sound; null: none. */
  due(alerts: readonly Alert[], isSilent: boolean, nowMs: number): number | null {
    const keys = new Set(alerts.map((alert) => alert.key));
    for (const key of this.#sounded.keys()) if (!keys.has(key)) this.#sounded.delete(key);
    let due: number | null = null;
    for (const { key, urgency, state } of alerts) {
      if (state !== "unacknowledged" || SHAPES[urgency] === undefined || (isSilent && urgency < 4)) continue;
      const before = this.#sounded.get(key);
      const again = AGAIN_MS[urgency];
      const isDue = before === undefined || urgency > before.urgency || (again !== undefined && nowMs - before.atMs >= again);
      if (!isDue) continue;
      this.#sounded.set(key, { urgency, atMs: nowMs });
      due = Math.max(due ?? 0, urgency);
    }
    return due;
  }
}

/** Plays them: a browser lets no page sound before it has been touched. */
export class Tones {
  #context: AudioContext | null = null;
  readonly #watch = new ToneWatch();

  /** True when a tone would be heard. */
  get isReady(): boolean {
    return this.#context?.state === "running";
  }

  /** After a touch or a key. */
  wake(): void {
    try {
      this.#context ??= new AudioContext();
      if (this.#context.state === "suspended") void this.#context.resume();
    } catch (problem) {
      console.warn("tones:", problem);
    }
  }

  step(alerts: readonly Alert[], isSilent: boolean, nowMs: number): void {
    const urgency = this.#watch.due(alerts, isSilent, nowMs);
    if (urgency !== null) this.sound(urgency);
  }

  sound(urgency: number): void {
    const context = this.#context;
    const shape = SHAPES[urgency];
    if (context === null || shape === undefined || context.state !== "running") return;
    for (let k = 0; k < shape.times; k++) {
      const from = context.currentTime + 0.02 + k * shape.every;
      const [tone, gain] = [context.createOscillator(), context.createGain()];
      tone.frequency.value = shape.hz;
      // Eased in and out, so that it is a tone and no click.
      gain.gain.setValueAtTime(0, from);
      gain.gain.linearRampToValueAtTime(shape.gain, from + 0.015);
      gain.gain.setValueAtTime(shape.gain, from + shape.lasts - 0.03);
      gain.gain.linearRampToValueAtTime(0, from + shape.lasts);
      tone.connect(gain).connect(context.destination);
      tone.start(from);
      tone.stop(from + shape.lasts + 0.02);
    }
  }
}
