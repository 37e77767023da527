/** What the helm hears: each place with what comes from it, live; taken by touch. */
import { sayDistance, type DistanceUnit } from "../../geo/units";
import { make, setText } from "../../panels/dom";
import { capital } from "../ask";
import { Pad, typedText } from "./pad";
import { button, Kept, type Frame, type Page } from "../page";
import { FanCanvas } from "./spokefan";
import type { Chosen, Heard, OfferHeard, PlaceHeard, RadarHeard, ThingHeard } from "../types";
import type { SpokeFan } from "../../wire/frame";

/** Without these the watch withdraws what needs them. */
const NEEDED: readonly (readonly [string, string])[] = [
  ["radar", "No radar video yet: without it there are no echoes and no seeing line."],
  ["position", "No position yet: without it nothing can be placed."],
  ["heading", "No heading yet: without it echoes cannot be placed."],
];

export function radarWords(radar: RadarHeard, unit: DistanceUnit): string {
  const parts = [`${radar.spokes_per_s} spokes a second`];
  if (radar.spokes_per_turn !== null) parts.push(`${radar.spokes_per_turn} a turn`);
  parts.push(`${radar.cells} cells to ${sayDistance(radar.range_m, unit)}`);
  if (radar.turns_per_min !== null) parts.push(`${Math.abs(radar.turns_per_min)} turns a minute${radar.turns_per_min < 0 ? ", anticlockwise" : ""}`);
  return parts.join(", ");
}

/** How a place stands, in one line below what it carries. */
export function placeWords(place: PlaceHeard): string {
  const parts: string[] = [];
  if (place.line !== "") parts.push(capital(place.line));
  if (place.said !== "") parts.push(place.said);
  if (place.is_silent && place.age_s !== null) parts.push(`silent for ${Math.round(place.age_s)} seconds`);
  if (place.no_fix) parts.push("the receiver says that it has no fix");
  if (place.bad > 0) parts.push(`${place.bad} sentences with a wrong checksum or none`);
  if ((place.radar?.radars ?? 0) > 1) parts.push(`${place.radar?.radars} radars on one link: the first heard is read`);
  return parts.join("; ");
}

/** Whether what a place carries can be read. */
export function isOfUse(place: PlaceHeard): boolean {
  return place.carries === "radar" || place.carries === "nmea" || place.carries === "bus" || place.carries === "signalk";
}

/** What is chosen after a place has been touched. */
export function touched(chosen: Chosen, place: PlaceHeard): { radar: string | null; nmea: string[] } {
  if (place.carries === "radar") return { radar: chosen.radar === place.link ? null : place.link, nmea: [...chosen.nmea] };
  const has = chosen.nmea.includes(place.link);
  return { radar: chosen.radar === place.link ? null : chosen.radar, nmea: has ? chosen.nmea.filter((l) => l !== place.link) : [...chosen.nmea, place.link] };
}

interface Row {
  element: HTMLElement;
  pick: HTMLButtonElement;
  head: HTMLElement;
  figures: HTMLElement;
  line: HTMLElement;
  ticker: HTMLElement;
  side: HTMLElement;
  fan: FanCanvas | null;
  newest: number;
}

export class HearPage implements Page {
  readonly name = "hear";
  readonly element = make("div", "", { class: "hear" });
  readonly #title = make("h2", "Listening");
  readonly #lead = make("p", "", { class: "lead" });
  readonly #places = make("div", "", { class: "places" });
  readonly #things = make("div", "", { class: "things" });
  readonly #missing = make("div", "", { class: "missing" });
  readonly #byHand = make("div", "", { class: "by-hand" });
  readonly #rows: Kept<Row>;
  readonly #thingRows: Kept<{ element: HTMLElement }>;
  #heard: Heard = { places: [], things: [], quiet_ports: [] };
  #again: number | undefined;
  #text = "";

  constructor(private readonly frame: Frame, private readonly listen: () => void, private readonly unit: () => DistanceUnit) {
    this.#rows = new Kept(this.#places, (link) => this.#row(link));
    this.#thingRows = new Kept(this.#things, () => ({ element: make("div", "", { class: "thing" }) }));
    this.element.append(this.#title, this.#lead, this.#missing, this.#places, this.#things, this.#byHand);
    this.#closed();
  }

  show(): void {
    this.listen();
    window.clearInterval(this.#again);
    this.#again = window.setInterval(this.listen, 3000);
    this.#draw();
  }

  hide(): void {
    window.clearInterval(this.#again);
  }

  heard(heard: Heard): void {
    this.#heard = heard;
    this.#draw();
  }

  told(): void {
    this.#draw();
  }

  fan(fan: SpokeFan): void {
    const place = this.#heard.places[fan.place];
    if (place?.radar == null) return;
    const row = this.#rows.lay(this.#heard.places.map((p) => p.link)).get(place.link);
    if (row === undefined) return;
    if (row.fan === null) {
      row.fan = new FanCanvas(116);
      row.side.replaceChildren(row.fan.element);
    }
    row.fan.draw(fan);
  }

  skip(): { readonly word: string; readonly press: () => void } {
    return { word: "radar by its screen", press: () => this.frame.turnTo("picture") };
  }

  forwardWord(): string {
    const { radar, nmea } = this.frame.told.settings;
    return radar === null && nmea.length === 0 ? "later" : "forward";
  }

  key(event: KeyboardEvent): boolean {
    if (this.#byHand.classList.contains("open") && (event.key === "Backspace" || (event.key.length === 1 && /[\w.:/?=-]/.test(event.key)))) {
      this.#type(event.key);
      return true;
    }
    return false;
  }

  #draw(): void {
    const { places, things, quiet_ports: quiet } = this.#heard;
    const carrying = places.filter(isOfUse);
    setText(this.#title, carrying.length === 0 ? "Listening" : "This is heard. Touch what to take.");
    const ports = quiet.length === 0 ? "" : `${quiet.length} ${carrying.length === 0 ? "" : "other "}UDP ports are listened to and silent.`;
    setText(this.#lead, carrying.length === 0 ? `Switch the instruments and the radar on. ${ports}` : ports);
    const rows = this.#rows.lay(places.map((place) => place.link));
    for (const place of places) {
      const row = rows.get(place.link);
      if (row !== undefined) this.#fill(row, place);
    }
    const laid = this.#thingRows.lay(things.map((thing) => thing.what));
    for (const thing of things) {
      const row = laid.get(thing.what);
      if (row !== undefined) this.#fillThing(row.element, thing);
    }
    const has = new Set(things.map((thing) => thing.what));
    const lines = carrying.length === 0 ? [] : NEEDED.filter(([what]) => !has.has(what)).map(([, line]) => line);
    const torn = things.filter((thing) => thing.is_conflict).map((thing) => thing.words);
    if (torn.length > 0) lines.push(`Several say ${torn.join(", ")}: which one is followed, and why, stands below.`);
    if (this.#missing.textContent !== lines.join("")) this.#missing.replaceChildren(...lines.map((line) => make("p", line)));
    this.frame.refresh();
  }

  #row(link: string): Row {
    const row: Row = {
      element: make("div", "", { class: "place" }),
      pick: button("", () => void this.#touch(link), { class: "pick", role: "checkbox", "aria-checked": "false" }),
      head: make("span", "", { class: "words" }),
      figures: make("span", "", { class: "figures" }),
      line: make("p", "", { class: "line" }),
      ticker: make("div", "", { class: "ticker", "aria-hidden": "true" }),
      side: make("div", "", { class: "side" }),
      fan: null,
      newest: 0,
    };
    const words = make("span", "", { class: "both" });
    words.append(row.head, row.figures, make("small", link));
    row.pick.append(make("span", "", { class: "form", "aria-hidden": "true" }), words);
    const left = make("div", "", { class: "left" });
    left.append(row.pick, row.line, row.ticker);
    row.element.append(left, row.side);
    return row;
  }

  #fill(row: Row, place: PlaceHeard): void {
    const { settings } = this.frame.told;
    const isTaken = settings.radar === place.link || settings.nmea.includes(place.link);
    const canTake = isOfUse(place) || isTaken;
    row.pick.setAttribute("aria-checked", String(isTaken));
    row.pick.disabled = !canTake;
    row.element.classList.toggle("quiet", !canTake);
    setText(row.head, capital(place.words));
    setText(row.figures, place.radar !== null ? radarWords(place.radar, this.unit()) : place.sentences.map((s) => `${s.address} ${s.per_s === null ? s.count : `${s.per_s}/s`}`).join(" · "));
    setText(row.line, placeWords(place));
    if (place.state === "in use" && row.side.childElementCount === 0) {
      row.side.append(button("listen beside it", () => void this.frame.get({ do: "share", link: place.link })));
    } else if (place.state !== "in use" && row.fan === null && place.carries !== "radar") row.side.replaceChildren();
    this.#tick(row, place);
  }

  /** The newest sentences, each as it came; a new one pulses. */
  #tick(row: Row, place: PlaceHeard): void {
    const last = place.ticker.at(-1)?.number ?? 0;
    if (last === row.newest) return;
    const fresh = place.ticker.slice(-4);
    row.ticker.replaceChildren(...fresh.map((one) => make("code", one.text, one.number > row.newest ? { class: "new" } : {})));
    row.newest = last;
    const mark = row.pick.querySelector(".form");
    mark?.classList.remove("tick");
    void (mark as HTMLElement | null)?.offsetWidth;
    mark?.classList.add("tick");
  }

  #fillThing(row: HTMLElement, thing: ThingHeard): void {
    const key = JSON.stringify([thing.taken.link, thing.taken.talker, thing.taken.kind, thing.others.map((o) => [o.link, o.talker]), thing.why]);
    if (row.dataset["key"] !== key) {
      row.dataset["key"] = key;
      row.replaceChildren(make("p", "", { class: "value" }));
      if (thing.is_conflict) {
        row.append(make("p", `${capital(thing.why)}.`, { class: "why" }));
        if (thing.can_choose) {
          const answers = make("div", "", { class: "answers" });
          for (const other of thing.others) answers.append(button(`follow ${said(other)}`, () => void this.#follow(thing.what, other)));
          row.append(answers);
        }
      }
    }
    const value = row.querySelector(".value");
    if (value !== null) setText(value, `${capital(thing.words)}${thing.taken.value === "" ? "" : `: ${thing.taken.value}`}, from ${said(thing.taken)}`);
  }

  async #touch(link: string): Promise<void> {
    const place = this.#heard.places.find((p) => p.link === link);
    if (place === undefined) return;
    await this.#keep(touched(this.frame.told.settings, place), this.frame.told.settings.prefer);
  }

  async #follow(what: string, offer: OfferHeard): Promise<void> {
    const { settings } = this.frame.told;
    const nmea = settings.nmea.includes(offer.link) ? [...settings.nmea] : [...settings.nmea, offer.link];
    await this.#keep({ radar: settings.radar, nmea }, { ...settings.prefer, [what]: { link: offer.link, talker: offer.talker } });
  }

  async #keep(links: { radar: string | null; nmea: string[] }, prefer: Chosen["prefer"]): Promise<void> {
    await this.frame.change({ do: "links", ...links, prefer });
    this.#draw();
  }

  // ---- a place by hand

  #closed(): void {
    this.#byHand.classList.remove("open");
    this.#byHand.replaceChildren(button("name a port, a group or a host", () => this.#open()));
  }

  #open(): void {
    this.#text = "";
    this.#byHand.classList.add("open");
    const shown = make("output", "", { class: "typing", "aria-label": "What is listened to" });
    const pad = new Pad("address", (key) => this.#type(key));
    const left = make("div", "", { class: "left" });
    const answers = make("div", "", { class: "answers" });
    answers.append(
      button("listen there", () => void this.#add()),
      button("leave it", () => this.#closed()),
    );
    left.append(make("p", "A UDP port (8600), a range (5000-5050), a multicast group with its port (239.255.0.1:8600), or a TCP host with its port (gateway:2000)."), shown, answers);
    this.#byHand.replaceChildren(left, pad.element);
    this.#byHand.scrollIntoView({ block: "start" });
    this.#type("");
  }

  #type(key: string): void {
    this.#text = typedText(this.#text, key, 80);
    const shown = this.#byHand.querySelector(".typing");
    if (shown !== null) setText(shown, this.#text === "" ? "…" : this.#text);
  }

  async #add(): Promise<void> {
    if ((await this.frame.get({ do: "add", text: this.#text })) !== null) this.#closed();
  }
}

export function said(offer: OfferHeard): string {
  if (/^\d+$/.test(offer.kind)) return `group ${offer.kind} of device ${offer.talker} on ${offer.link}`;
  if (offer.kind === "SK") return `Signal K${offer.talker === "" ? "" : ` source ${offer.talker}`} on ${offer.link}`;
  return `${offer.talker === "" ? "" : `${offer.talker} `}${offer.kind} on ${offer.link}`;
}
