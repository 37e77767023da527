/** The door to the set-up: its pages are loaded when they are first asked for, and opened where nothing is connected. */
import { whatMatters } from "../state/say";
import { BOAT_UNKNOWN, type State, type Store } from "../state/store";
import type { Control } from "../wire/frame";
import { capital } from "./ask";
import type { Setup } from "./setup";
import type { SpokeFan } from "../wire/frame";
import type { Heard } from "./types";

export class SetupDoor {
  #setup: Setup | undefined;
  #loading: Promise<Setup> | undefined;
  #isNeeded = false;

  constructor(private readonly store: Store, private readonly ask: (control: Control) => void) {
    store.listen((state, before) => this.#changed(state, before));
  }

  get isOpen(): boolean {
    return this.#setup?.isOpen === true;
  }

  /** Whether this helm can be set up at all; the demo and recordings are what they are. */
  get isThere(): boolean {
    return this.store.state.hello?.setup === true;
  }

  open(name: "hear" | "bow"): void {
    this.#isNeeded = this.store.state.hello?.source === "none";
    void this.#load().then((setup) => setup.open(name, this.#isNeeded));
  }

  heard(heard: Heard): void {
    this.#setup?.heard(heard);
  }

  fan(fan: SpokeFan): void {
    this.#setup?.fan(fan);
  }

  #load(): Promise<Setup> {
    this.#loading ??= import("./setup").then(({ Setup: Ctor }) => {
      const { store, ask } = this;
      const setup = new Ctor({
        listen: () => ask({ do: "listen" }),
        control: (what) => ask({ do: what }),
        bow: () => store.state.reading?.bow ?? null,
        unit: () => (store.state.hello?.boat ?? BOAT_UNKNOWN).distance_unit,
        closed: () => (document.activeElement as HTMLElement | null)?.blur(),
      });
      document.body.append(setup.element);
      this.#setup = setup;
      this.#hand(store.state);
      return setup;
    });
    return this.#loading;
  }

  #hand(state: State): void {
    this.#setup?.setHand(state.settings.hand ?? state.hello?.boat.free_hand ?? "right");
  }

  #changed(state: State, before: State): void {
    if (state.hello !== before.hello && state.hello !== null) {
      if (state.hello.source === "none" && state.hello.setup === true && !this.isOpen) this.open("hear");
      // Started, here or on another screen.
      else if (state.hello.source !== "none" && this.#isNeeded) {
        this.#isNeeded = false;
        this.#setup?.close();
      }
    }
    if (this.#setup === undefined) return;
    if (state.settings !== before.settings || state.hello !== before.hello) this.#hand(state);
    if (state.answer !== before.answer && state.answer !== null && this.isOpen) this.#setup.say(capital(state.answer));
    if (state.reading !== before.reading) this.#setup.reading();
    const urgent = state.hello?.source === "none" ? undefined : whatMatters(state, performance.now())[0];
    this.#setup.urgent(urgent !== undefined && urgent.urgency >= 3 ? urgent.say : "");
  }
}
