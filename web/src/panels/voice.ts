/** Calls spoken by the browser: one at a time, the newer urgent one first, silence that still lets collisions through. */
import type { Call } from "../state/types";

const RATE: Readonly<Record<number, number>> = { 1: 0.95, 2: 1, 3: 1.08, 4: 1.15 };

export interface Speech {
  speak(utterance: SpeechSynthesisUtterance): void;
  cancel(): void;
}

export class Voice {
  #urgency = 0;
  #waiting: Call[] = [];
  #isSpeaking = false;

  constructor(
    private readonly speech: Speech | undefined,
    private readonly utter: (text: string) => SpeechSynthesisUtterance = (text) => new SpeechSynthesisUtterance(text),
  ) {}

  get isThere(): boolean {
    return this.speech !== undefined;
  }

  take(call: Call, isOn: boolean, isSilent: boolean): void {
    if (this.speech === undefined || !isOn) return;
    if (isSilent && call.urgency < 4 && call.again !== true) return;
    this.#waiting.push(call);
    this.#waiting.sort((a, b) => b.urgency - a.urgency || b.number - a.number);
    this.#waiting.length = Math.min(this.#waiting.length, 4);
    if (this.#isSpeaking && call.urgency > this.#urgency) this.speech.cancel();
    else if (!this.#isSpeaking) this.#next();
  }

  stop(): void {
    this.#waiting = [];
    this.speech?.cancel();
  }

  #next(): void {
    const call = this.#waiting.shift();
    if (call === undefined || this.speech === undefined) return;
    const utterance = this.utter(call.say);
    utterance.rate = RATE[call.urgency] ?? 1;
    this.#urgency = call.urgency;
    this.#isSpeaking = true;
    const done = (): void => {
      this.#isSpeaking = false;
      this.#next();
    };
    utterance.onend = done;
    utterance.onerror = done;
    this.speech.speak(utterance);
  }
}
