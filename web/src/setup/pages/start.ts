/** What has been settled, what is not known, where it is kept; and the start. */
import { make } from "../../panels/dom";
import { valueWords } from "./answers";
import { button, type Frame, type Page } from "../page";
import type { Question } from "../types";

/** What nobody knows, in words; the five that must be there are assumed. */
export function notKnown(questions: readonly Question[], unit: "metres" | "feet"): { question: Question; say: string }[] {
  return questions
    .filter((q) => q.state === "assumed" || q.state === "unknown")
    .map((question) => ({ question, say: question.state === "assumed" ? `${question.ask} ${valueWords(question, question.value, unit)} is assumed.` : `${question.ask} Not known.` }));
}

export class StartPage implements Page {
  readonly name = "start";
  readonly element = make("div", "", { class: "start" });

  constructor(private readonly frame: Frame, private readonly jump: (key: string) => void) {}

  show(): void {
    this.told();
  }

  told(): void {
    const { settings, questions, path, boat_path: boat, is_running: isRunning, is_as_running: isAs } = this.frame.told;
    const parts: HTMLElement[] = [make("h2", isRunning ? (isAs ? "The watch runs with this." : "Start the watch anew with this?") : "Ready to keep the watch?")];
    const list = make("dl");
    const say = (head: string, text: string): void => void list.append(make("dt", head), make("dd", text));
    say("Radar", settings.radar ?? "none: no echoes and no seeing line");
    say("Instruments", settings.nmea.length === 0 ? "none: nothing can be placed" : settings.nmea.join(", "));
    for (const [what, one] of Object.entries(settings.prefer)) say(`${what} from`, `${one.talker} on ${one.link}`);
    say("Charts", settings.charts.length === 0 ? "none: echoes are told, and not explained" : settings.charts.join(", "));
    say("Tides", settings.tides.length === 0 ? "none: depths stand at chart datum" : settings.tides.join(", "));
    const given = questions.filter((q) => q.state === "given");
    for (const q of given.filter((one) => ["boat.name", "boat.length_m", "radar.set", "skipper.night_limit_kn"].includes(one.key))) say(q.ask, valueWords(q, q.value, settings.length_unit));
    parts.push(list);
    const open = notKnown(questions, settings.length_unit);
    if (open.length > 0) {
      parts.push(make("h3", "Not known"));
      const answers = make("div", "", { class: "answers unknown" });
      for (const { question, say: line } of open) answers.append(button(line, () => this.jump(question.key)));
      parts.push(answers);
    }
    const defaults = questions.filter((q) => q.state === "default").length;
    parts.push(make("p", `${defaults} more stand at their defaults. All is kept in two files that you may edit: ${path} and ${boat}.`));
    parts.push(make("p", "An aid, not a look-out; not for navigation. Go out by day first, and check every echo by eye."));
    const screens = make("p", "Other screens on board: ");
    screens.append(make("a", "pair them, or let them go", { href: "/screens" }), ".");
    parts.push(screens);
    this.element.replaceChildren(...parts);
  }

  forwardWord(): string {
    const { settings, is_running: isRunning } = this.frame.told;
    if (settings.radar === null && settings.nmea.length === 0) return "no links";
    return isRunning ? "start anew" : "start";
  }

  async forward(): Promise<boolean> {
    const { settings } = this.frame.told;
    if (settings.radar === null && settings.nmea.length === 0) {
      this.frame.say("There is nothing to watch yet: choose a radar or instruments on the first page.");
      return false;
    }
    const started = await this.frame.get<{ started: boolean }>({ do: "start" });
    if (started !== null) this.frame.close();
    return false;
  }
}
