/** The three tools and the sheet of kept routes, joined to the store and the link. */
import type { Bar } from "../panels/bar";
import type { Drawers } from "../drawers/drawers";
import { askName, RoutesSheet } from "../drawers/routes";
import type { Screen } from "../screen";
import { byCompass } from "../state/compass";
import { BOAT_UNKNOWN, type Store } from "../state/store";
import type { LegPictures, Reply } from "../state/types";
import type { Place } from "../layers/ink/tools/measure";
import type { Control, RouteAsked } from "../wire/frame";
import type { DistanceUnit } from "../geo/units";
import { LinesTool } from "./lines";
import { MeasureTool } from "./measure";
import { RouteTool } from "./route";
import { Toolbox } from "./toolbox";
import { TrialTool } from "./trial";
import type { Tool } from "./tool";

/** A drag is checked no oftener than this, ms. */
const CHECK_MS = 200;

type Unasked<T> = T extends { readonly token: number } ? Omit<T, "token"> : never;

export class Tools {
  readonly measure: Tool;
  readonly route: RouteTool;
  readonly trial: TrialTool;
  readonly lines: Tool;
  readonly kept: RoutesSheet;
  #box: Toolbox | undefined;
  /** Answers come to this screen alone; their tokens say to which of its questions. */
  #token = 0;
  readonly #waiting = new Map<number, (reply: Reply) => void>();
  #checkTimer: number | undefined;

  constructor(
    private readonly store: Store,
    private readonly screen: Screen,
    private readonly ask: (control: Control) => void,
    private readonly clock: () => string,
    private readonly drawers: Drawers,
  ) {
    const boat = (): Place | null => screen.boat;
    const done = (): void => this.#box?.leave();
    this.measure = new MeasureTool(screen, boat, () => this.#unit(), done);
    this.lines = new LinesTool(
      boat,
      () => this.#unit(),
      () => {
        const now = screen.boat;
        const course = now === null ? 0 : Number.isNaN(now.cogDeg) ? now.headingDeg : now.cogDeg;
        return Number.isNaN(course) ? 0 : course;
      },
      () => store.state.reading?.plan?.now?.course_deg ?? null,
      () => store.state.settings.parallel,
      (parallel) => store.send({ type: "set", change: { parallel } }),
      done,
    );
    this.trial = new TrialTool(
      screen,
      boat,
      () => {
        const now = screen.boat;
        if (now === null || Number.isNaN(now.sogKn)) return null;
        const courseDeg = Number.isNaN(now.cogDeg) ? now.headingDeg : now.cogDeg;
        return Number.isNaN(courseDeg) ? null : { courseDeg: Math.round(courseDeg), speedKn: now.sogKn };
      },
      () => (store.state.trial?.is_own === true ? store.state.trial : null),
      () => store.state.reading?.manoeuvres ?? null,
      (courseDeg) => byCompass(store.state.reading, courseDeg),
      (value) => ask({ do: "trial", value }),
      done,
    );
    this.route = new RouteTool(
      screen,
      boat,
      () => this.#unit(),
      {
        check: (points, then) => {
          window.clearTimeout(this.#checkTimer);
          this.#checkTimer = window.setTimeout(() => {
            this.#ask({ what: "check", points: points.map(pair) }, (reply) => then(reply.legs === undefined ? { problem: reply.problem ?? "no answer" } : { legs: reply.legs }));
          }, CHECK_MS);
        },
        way: (from, to, then) =>
          this.#ask({ what: "way", points: [pair(from), pair(to)] }, (reply) =>
            then(reply.points === undefined ? { problem: reply.problem ?? "no answer" } : { points: reply.points.map(([latDeg, lonDeg]) => ({ latDeg, lonDeg })), notes: reply.notes ?? [] }),
          ),
        save: (points, stopped, then) => {
          const warning = stopped === 0 ? "" : `The chart refuses, or has not answered for, ${stopped === 1 ? "one leg" : `${stopped} legs`} of it.`;
          askName(`route ${this.clock().replace(":", "")}`, warning, (name, follow) =>
            this.#ask({ what: "save", points: points.map(pair), name, follow }, (reply) => {
              if (reply.problem === undefined) then();
              this.#say(reply.problem ?? `kept as ${reply.name ?? name}${follow ? ", and followed" : ""}`);
            }),
          );
        },
        kept: () => this.list(),
      },
      done,
      () => this.#box?.refresh(),
    );
    this.kept = new RoutesSheet({
      follow: (name, back) => this.#change({ what: "follow", name, back }),
      stop: () => this.#change({ what: "stop" }),
      remove: (name) => this.#change({ what: "remove", name }),
      draw: () => {
        this.kept.hide();
        if (this.#box !== undefined && this.#box.now !== this.route) this.#box.toggle(this.route);
      },
    }, this.drawers);
    this.drawers.add(this.kept.element);
  }

  /** Make the box they live in: it needs the bar, which needs them. */
  box(bar: () => Bar, words: HTMLElement): Toolbox {
    const box = new Toolbox(
      bar,
      words,
      () => {
        const trial = this.store.state.trial;
        return trial === null || trial.is_own ? { text: "", isLoud: false } : { text: `On another screen. ${trial.say}`, isLoud: trial.clears === false };
      },
      () => {
        this.screen.tool = box.now;
        this.screen.isDirty = true;
      },
    );
    this.#box = box;
    window.setInterval(() => box.tick(performance.now()), 500);
    return box;
  }

  /** Show the routes that are kept. */
  list(): void {
    this.kept.show();
    this.#change({ what: "list" });
  }

  /** Ask for the pictures of one leg of the plan; null: they cannot be made (yet). */
  picture(leg: number, then: (pictures: LegPictures | null) => void): void {
    this.#ask({ what: "leg", leg }, (reply) => then(reply.leg ?? null));
  }

  /** The answer to a question of this screen came in. */
  take(reply: Reply): void {
    const then = this.#waiting.get(reply.token);
    this.#waiting.delete(reply.token);
    then?.(reply);
  }

  /** The link is open again: to the helm this screen is a new one, and what it tries must be asked anew. */
  again(): void {
    if (this.#box?.now === this.trial) this.trial.again();
  }

  /** A trial came in. */
  refresh(): void {
    this.#box?.refresh();
  }

  #unit(): DistanceUnit {
    return (this.store.state.hello?.boat ?? BOAT_UNKNOWN).distance_unit;
  }

  #ask(asked: Unasked<RouteAsked>, then: (reply: Reply) => void): void {
    this.#token = (this.#token + 1) % 2 ** 31;
    this.#waiting.set(this.#token, then);
    // An answer that never comes (the link went) must not be waited for for ever.
    for (const old of [...this.#waiting.keys()].slice(0, -20)) this.#waiting.delete(old);
    this.ask({ do: "route", value: { ...asked, token: this.#token } as RouteAsked });
  }

  #change(asked: Unasked<RouteAsked>): void {
    this.#ask(asked, (reply) => {
      if (reply.routes !== undefined) this.kept.tell(reply.routes, reply.following ?? null, reply.folder ?? "", this.#unit());
      if (reply.problem !== undefined) this.kept.problem(reply.problem);
    });
  }

  #say(line: string): void {
    this.store.send({ type: "answer", line, at: performance.now() });
  }
}

function pair(place: Place): readonly [number, number] {
  return [Number(place.latDeg.toFixed(6)), Number(place.lonDeg.toFixed(6))];
}
