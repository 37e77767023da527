/** The page of practice: wiring only. */
import "@fontsource-variable/atkinson-hyperlegible-next/wght.css";
import "../look/sheet.css";
import { make, setText } from "../panels/dom";
import { ask, fetchLook, Refused } from "./ask";
import { ChartPanel, drawLights } from "./chart";
import { DayPanel } from "./day";
import { ladderPage } from "./ladder";
import { Panel } from "./panel";
import "./practice.css";
import { Scope } from "./scope";
import type { Answer, Exercise, Marked, Progress } from "./types";

const page = document.getElementById("practice");
if (page === null) throw new Error("the page has no #practice");

const scopeCanvas = make("canvas", "", { class: "scope", tabindex: "0", "aria-label": "Radar picture, bow up" });
const chartCanvas = make("canvas", "", { class: "chart", "aria-label": "Chart, north up" });
const lightCanvas = make("canvas", "", { class: "lights", "aria-label": "Lights as the eye has them" });
const looks = make("div", "", { class: "looks" });
const lookSlider = make("input", "", { type: "range", min: "0", step: "1", "aria-label": "which look" });
const lookWords = make("span", "");
const playButton = make("button", "play the looks", { type: "button" });
looks.append(playButton, lookSlider, lookWords);
const pictures = make("section", "", { class: "pictures", "aria-label": "Picture" });
const knobs = make("div", "", { class: "knobs", role: "group", "aria-label": "how the picture is set" });
pictures.append(scopeCanvas, looks, knobs, lightCanvas, chartCanvas);
const scope = new Scope(scopeCanvas);
const chart = new ChartPanel(chartCanvas);

/** For tests: how far the page is. */
const state = { stage: "loading" as "loading" | "asked" | "marked" | "failed", exercise: null as Exercise | null, marked: null as Marked | null, progress: null as Progress | null };
Object.assign(window, { practice: state });

const panel = new Panel({
  touched: () => (state.exercise?.form === "chart" ? chart.touch : scope.touch),
  place: (range, bearing) => {
    if (state.stage === "asked") scope.touch = scope.placeAt(range, bearing);
  },
  knobs: (knobs) => (scope.knobs = knobs),
  answer: (answer) => void give(answer),
  next: () => void begin({ do: "next" }),
});
const ladder = make("section", "", { class: "ladder", "aria-label": "Ladder", hidden: "" });
const head = make("header", "");
const toLadder = make("button", "the ladder", { type: "button", "aria-expanded": "false", class: "to-ladder" });
toLadder.addEventListener("click", () => void showLadder(ladder.hidden));
head.append(make("h1", "Practice"), make("span", "practice, never a licence", { class: "caution" }), toLadder);
const day = new DayPanel();
// Opened from a helm: there is a watch to ask about, and a sheet to go back to.
if (new URLSearchParams(window.location.search).has("helm")) {
  const byDay = make("button", "by day", { type: "button", "aria-expanded": "false" });
  byDay.addEventListener("click", () => {
    const shown = day.element.hidden;
    if (shown) void showLadder(false);
    day.show(shown);
    grid.hidden = shown;
    byDay.setAttribute("aria-expanded", String(shown));
    setText(byDay, shown ? "back to the exercise" : "by day");
  });
  head.append(byDay, make("a", "to the helm", { href: "./" }));
}
const grid = make("main", "");
grid.append(pictures, panel.element);
page.append(head, grid, day.element, ladder);

let asking = 0;
let playing: number | null = null;

async function begin(asked: { readonly do: string; readonly [key: string]: unknown }): Promise<void> {
  const mine = ++asking;
  stop();
  state.stage = "loading";
  state.marked = null;
  panel.wait("Drawing an exercise…");
  try {
    const exercise = await ask<Exercise>(asked);
    const drawn = exercise.pictures;
    const counts = drawn === null ? [] : await Promise.all(drawn.looks.map((_, k) => fetchLook(exercise.id, k, drawn.n_spoke * drawn.n_cell)));
    // Somebody has asked for another meanwhile.
    if (mine !== asking) return;
    state.exercise = exercise;
    lay(exercise, counts);
    panel.show(exercise);
    state.stage = "asked";
  } catch (problem) {
    if (mine !== asking) return;
    state.stage = "failed";
    panel.fail(words(problem));
  }
}

function lay(exercise: Exercise, counts: Uint8Array[]): void {
  const drawn = exercise.pictures;
  scopeCanvas.hidden = drawn === null;
  looks.hidden = counts.length < 2;
  lightCanvas.hidden = exercise.lights.length === 0;
  chartCanvas.hidden = exercise.map === null;
  // Where the knobs are the answer they stand with the question.
  knobs.replaceChildren(...(drawn === null || exercise.form === "knobs" ? [] : panel.sliders(exercise)));
  pictures.classList.toggle("two", exercise.map !== null);
  if (drawn !== null) {
    scope.show(exercise, drawn, counts);
    lookSlider.max = String(counts.length - 1);
    lookAt(counts.length - 1);
  }
  if (exercise.map !== null) chart.show(exercise.map, drawn?.looks[drawn.looks.length - 1]?.shown_deg ?? null);
  if (exercise.lights.length > 0) drawLights(lightCanvas, exercise.lights, false);
}

async function give(answer: Answer): Promise<void> {
  const exercise = state.exercise;
  if (exercise === null || state.stage !== "asked") return;
  stop();
  try {
    const marked = await ask<Marked>({ do: "answer", id: exercise.id, answer });
    if (state.exercise !== exercise) return;
    state.marked = marked;
    state.stage = "marked";
    if (exercise.form === "chart") chart.solve(marked.notes);
    scope.solve(exercise.form === "chart" ? [] : marked.notes, marked.overlay);
    if (exercise.pictures !== null) lookAt(exercise.pictures.looks.length - 1);
    if (exercise.lights.length > 0) drawLights(lightCanvas, exercise.lights, true);
    panel.marked(exercise, marked);
  } catch (problem) {
    panel.refuse(words(problem));
  }
}

function lookAt(index: number): void {
  lookSlider.value = String(index);
  scope.look = index;
  const look = state.exercise?.pictures?.looks[index];
  const count = state.exercise?.pictures?.looks.length ?? 0;
  setText(lookWords, look === undefined ? "" : `look ${index + 1} of ${count}, ${look.time_s === 0 ? "now" : `${Math.round(-look.time_s)} s ago`}`);
}

lookSlider.addEventListener("input", () => {
  stop();
  lookAt(lookSlider.valueAsNumber);
});
playButton.addEventListener("click", () => {
  if (playing !== null) {
    stop();
    return;
  }
  const last = Number(lookSlider.max);
  let at = 0;
  setText(playButton, "stop");
  lookAt(0);
  playing = window.setInterval(() => {
    at += 1;
    if (at > last + 2) at = 0;
    lookAt(Math.min(at, last));
  }, 450);
});

function stop(): void {
  if (playing !== null) window.clearInterval(playing);
  playing = null;
  setText(playButton, "play the looks");
}

scopeCanvas.addEventListener("pointerdown", (event) => {
  if (state.stage === "asked" && state.exercise?.form === "touch") scope.touch = scope.placeUnder(event.offsetX, event.offsetY);
});
chartCanvas.addEventListener("pointerdown", (event) => {
  if (state.stage === "asked" && state.exercise?.form === "chart") chart.touch = chart.placeUnder(event.offsetX, event.offsetY);
});
/** Arrows move the touch: out and in along the bearing, and round. */
scopeCanvas.addEventListener("keydown", (event) => {
  const step = ({ ArrowUp: [1, 0], ArrowDown: [-1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] } as const)[event.key as "ArrowUp"];
  if (step === undefined || state.stage !== "asked" || state.exercise?.form !== "touch") return;
  event.preventDefault();
  const [x, y] = scope.touch === null ? [scopeCanvas.clientWidth / 2, scopeCanvas.clientWidth * 0.3] : scope.pixelOf(scope.touch);
  const half = scopeCanvas.clientWidth / 2;
  const away = Math.hypot(x - half, half - y) + (event.shiftKey ? 20 : 4) * step[0];
  const turn = Math.atan2(x - half, half - y) + ((event.shiftKey ? 10 : 1) * step[1] * Math.PI) / 180;
  scope.touch = scope.placeUnder(half + away * Math.sin(turn), half - away * Math.cos(turn)) ?? scope.touch;
});

async function showLadder(shown: boolean): Promise<void> {
  ladder.hidden = !shown;
  grid.hidden = shown;
  toLadder.setAttribute("aria-expanded", String(shown));
  setText(toLadder, shown ? "back to the exercise" : "the ladder");
  if (!shown) return;
  try {
    const progress = await ask<Progress>({ do: "progress" });
    state.progress = progress;
    ladder.replaceChildren(
      ...ladderPage(progress, (step) => {
        void showLadder(false);
        void begin({ do: "step", step });
      }, () => {
        void showLadder(false);
        void begin({ do: "own" });
      }),
    );
  } catch (problem) {
    ladder.replaceChildren(make("p", words(problem), { role: "alert", class: "problem" }));
  }
}

function words(problem: unknown): string {
  return problem instanceof Refused ? problem.message : `This failed: ${String(problem)}`;
}

const asked = new URLSearchParams(window.location.search);
const step = asked.get("step");
const seed = asked.get("seed");
void begin(step === null ? { do: "next" } : step === "own" ? { do: "own" } : seed === null ? { do: "step", step } : { do: "make", step, seed: Number(seed) });
