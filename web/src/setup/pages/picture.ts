/** A radar by its screen: one look at a camera, what was found, and only the questions that must be asked. */
import { make, setText } from "../../panels/dom";
import { button, pick, type Frame, type Page } from "../page";
import { Pad, typedText } from "./pad";

export interface PictureFound {
  readonly picture: string | null;
  readonly lines: readonly string[];
  readonly needs: readonly string[];
  readonly ranges_nm?: readonly number[];
  readonly link: string | null;
}

/** What still has to be answered, in words. */
export function needWords(needs: readonly string[]): string {
  if (needs.includes("range") && needs.includes("up")) return "How far is the outermost ring, and which way is up?";
  if (needs.includes("range")) return "How far is the outermost ring?";
  if (needs.includes("up")) return "Which way is up on that screen?";
  return "";
}

export class PicturePage implements Page {
  readonly name = "picture";
  readonly element = make("div", "", { class: "picture" });
  readonly #title = make("h2", "A radar by its screen");
  readonly #lead = make("p", "Point a camera at the radar's screen, or connect a capture device.", { class: "lead" });
  readonly #sources = make("div", "", { class: "answers" });
  readonly #shown = make("div", "", { class: "shown" });
  readonly #image = make("img", "", { alt: "What was found: the picture with the rings and the bow laid over it, and the radar as it is read" });
  readonly #lines = make("div", "", { class: "found" });
  readonly #ask = make("h2");
  readonly #answers = make("div", "", { class: "answers" });
  #typed = "";
  #source: string | null = null;
  #range: number | null = null;
  #up: "bow" | "north" | null = null;
  #found: PictureFound | null = null;
  #isLooking = false;

  constructor(private readonly frame: Frame) {
    this.#shown.hidden = true;
    this.#shown.append(this.#image as HTMLElement);
    this.element.append(this.#title, this.#lead, this.#sources, this.#shown, this.#lines, this.#ask, this.#answers);
  }

  show(): void {
    void this.#offer();
  }

  forwardWord(): string {
    return this.#found?.link == null ? "back to what is heard" : "take it";
  }

  /** Forward takes what was found, if it is whole; the set-up then shows what is heard. */
  async forward(): Promise<boolean> {
    const link = this.#found?.link ?? null;
    if (link === null) return true;
    const { nmea } = this.frame.told.settings;
    return (await this.frame.change({ do: "links", radar: link, nmea: [...nmea] })) !== null;
  }

  async #offer(): Promise<void> {
    const told = await this.frame.get<{ sources: readonly string[] }>({ do: "picture sources" });
    this.#sources.className = "answers";
    const byName = this.#source !== null && this.#source !== "screen" && !(told?.sources ?? []).includes(this.#source) ? [this.#source] : [];
    const made = [...(told?.sources ?? []), ...byName].map((source) => pick(source, this.#source === source, () => void this.#look(source), "radio"));
    made.push(pick("this computer's own screen", this.#source === "screen", () => void this.#look("screen"), "radio"));
    made.push(button("another, by its name", () => this.#byHand(), { class: "pick" }));
    this.#sources.replaceChildren(...made);
    this.#draw();
  }

  #byHand(): void {
    const line = make("output", this.#typed, { class: "typing typed", "aria-label": "What is looked at" });
    const left = make("div", "", { class: "left" });
    const answers = make("div", "", { class: "answers" });
    const pad = new Pad("address", (key) => {
      this.#typed = typedText(this.#typed, key, 200);
      setText(line, this.#typed);
    });
    answers.append(button("look", () => void this.#look(this.#typed)), button("leave it", () => void this.#offer()));
    left.append(make("p", "A camera or capture device (/dev/video0), or a picture or video in your own folders."), line, answers);
    this.#sources.className = "by-hand open";
    this.#sources.replaceChildren(left, pad.element);
  }

  key(event: KeyboardEvent): boolean {
    if (this.#sources.querySelector(".typed") === null || !(event.key === "Backspace" || (event.key.length === 1 && /[\w.:/?=-]/.test(event.key)))) return false;
    this.#typed = typedText(this.#typed, event.key, 200);
    setText(this.#sources.querySelector(".typed") as HTMLElement, this.#typed);
    return true;
  }

  async #look(source: string): Promise<void> {
    if (this.#isLooking) return;
    if (source !== this.#source) [this.#range, this.#up] = [null, null];
    this.#source = source;
    this.#isLooking = true;
    void this.#offer();
    const found = await this.frame.get<PictureFound>({ do: "picture", source, range_nm: this.#range, up: this.#up });
    this.#isLooking = false;
    this.#found = found;
    this.#draw();
  }

  #draw(): void {
    const found = this.#found;
    this.#shown.hidden = found?.picture == null;
    if (found?.picture != null) (this.#image as HTMLImageElement).src = found.picture;
    setText(this.#title, this.#isLooking ? "Looking at the screen" : found === null ? "A radar by its screen" : found.link !== null ? "This was found. Is it so?" : "This was found.");
    this.#lines.replaceChildren(...(found?.lines ?? []).map((line) => make("p", line, { class: "why" })));
    const needs = this.#isLooking ? [] : (found?.needs ?? []);
    setText(this.#ask, needWords(needs));
    const answers: HTMLElement[] = [];
    if (needs.includes("range"))
      for (const nm of found?.ranges_nm ?? [])
        answers.push(
          pick(`${nm} NM`, this.#range === nm, () => {
            this.#range = nm;
            this.#again();
          }, "radio"),
        );
    if (needs.includes("up"))
      for (const [word, up] of [["the bow", "bow"], ["north", "north"]] as const)
        answers.push(
          pick(word, this.#up === up, () => {
            this.#up = up;
            this.#again();
          }, "radio"),
        );
    this.#answers.replaceChildren(...answers);
    this.frame.refresh();
  }

  /** Look again with what was answered, once nothing is left to answer. */
  #again(): void {
    const needs = this.#found?.needs ?? [];
    const isWhole = (!needs.includes("range") || this.#range !== null) && (!needs.includes("up") || this.#up !== null);
    if (isWhole && this.#source !== null) void this.#look(this.#source);
    else this.#draw();
  }
}
