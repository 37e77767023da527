/** Calls spoken by the browser: one at a time, the newer urgent one first, silence that still lets collisions through. */
import type { Call } from "../state/types";

const RATE: Readonly<Record<number, number>> = { 1: 0.95, 2: 1, 3: 1.08, 4: 1.15 };

export interface Speech {
  speak(utterance: SpeechSynthesisUtterance): void;
  cancel(): void;
}

/** A sentence with a distance in it is no longer true after this long in the queue, ms. */
const STALE_MS = 12_000;
const MOST_WAITING = 4;

/** An order begins with its verb; a newer one takes the place of every older one: nobody hears "turn" after "stop". */
function givesOrder(call: Call): boolean {
  return /^(Turn (starboard|port)|Slow to|Stop|Hold [a-z])/.test(call.say);
}

interface Waiting {
  readonly call: Call;
  readonly atMs: number;
}

export class Voice {
  #now: Waiting | null = null;
  #waiting: Waiting[] = [];

  constructor(
    private readonly speech: Speech | undefined,
    private readonly utter: (text: string) => SpeechSynthesisUtterance = (text) => new SpeechSynthesisUtterance(text),
    private readonly clock: () => number = () => performance.now(),
  ) {}

  get isThere(): boolean {
    return this.speech !== undefined;
  }

  take(call: Call, isOn: boolean, isSilent: boolean): void {
    if (this.speech === undefined || !isOn) return;
    if (isSilent && call.urgency < 4 && call.again !== true) return;
    // A newer word that bears the same key takes the older one's place.
    const isOrder = givesOrder(call);
    this.#waiting = this.#waiting.filter((w) => (w.call.key !== call.key || w.call.urgency > call.urgency) && !(isOrder && givesOrder(w.call)));
    this.#put({ call, atMs: this.clock() });
    const now = this.#now;
    if (now === null) return this.#next();
    const isOvertaken = isOrder && givesOrder(now.call);
    if (call.urgency > now.call.urgency || isOvertaken) {
      // Cut off, and said after it if it is still fresh, not of the same key and no order that another has taken the place of.
      if (now.call.key !== call.key && !isOvertaken) this.#put(now);
      this.speech.cancel();
    }
  }

  /** Drop and cut off what is milder than an urgency. */
  hush(above: number): void {
    this.#waiting = this.#waiting.filter((w) => w.call.urgency >= above);
    if (this.#now !== null && this.#now.call.urgency < above) this.speech?.cancel();
  }

  stop(): void {
    this.hush(5);
  }

  #put(waiting: Waiting): void {
    this.#waiting.push(waiting);
    this.#waiting.sort((a, b) => b.call.urgency - a.call.urgency || b.call.number - a.call.number);
    this.#waiting.length = Math.min(this.#waiting.length, MOST_WAITING);
  }

  #next(): void {
    const fresh = (w: Waiting): boolean => this.clock() - w.atMs <= STALE_MS;
    this.#waiting = this.#waiting.filter(fresh);
    const next = this.#waiting.shift();
    if (next === undefined || this.speech === undefined) return;
    const utterance = this.utter(next.call.say);
    utterance.rate = RATE[next.call.urgency] ?? 1;
    this.#now = next;
    const done = (): void => {
      if (this.#now !== next) return;
      this.#now = null;
      this.#next();
    };
    utterance.onend = done;
    utterance.onerror = done;
    this.speech.speak(utterance);
  }
}
