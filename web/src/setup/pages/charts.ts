/** Charts by folder and tide stations by file: looked through on the helm's computer, what is covered drawn. */
import { make, setText } from "../../panels/dom";
import { CoverMap, cellWords } from "./covermap";
import { button, pick, type Frame, type Page } from "../page";
import type { Coverage, Folder } from "../types";

export class ChartsPage implements Page {
  readonly name = "charts";
  readonly element = make("div", "", { class: "charts" });
  readonly #title = make("h2", "Choose a folder of charts.");
  readonly #where = make("p", "", { class: "where" });
  readonly #list = make("div", "", { class: "folders" });
  readonly #chosen = make("div", "", { class: "chosen" });
  readonly #lines = make("div", "", { class: "lines" });
  readonly #cells = make("ul", "", { class: "cells" });
  readonly #map = new CoverMap();
  #coverage: Coverage | null = null;
  #folder: Folder | null = null;
  #poll: number | undefined;
  #drawn = "";

  constructor(private readonly frame: Frame) {
    const left = make("div", "", { class: "left" });
    left.append(this.#title, this.#chosen, this.#where, this.#list);
    const right = make("div", "", { class: "right" });
    right.append(this.#map.element, this.#lines, this.#cells);
    this.element.append(left, right);
    window.addEventListener("resize", () => this.#map.draw(this.#coverage?.found?.cells ?? [], this.#coverage?.place ?? null));
  }

  show(): void {
    this.told();
    if (this.#folder === null) void this.#open(null);
    this.#look();
  }

  hide(): void {
    window.clearTimeout(this.#poll);
  }

  told(): void {
    this.#showCoverage(this.frame.told.coverage);
    this.#showChosen();
  }

  forwardWord(): string {
    return this.frame.told.settings.charts.length === 0 ? "without" : "forward";
  }

  back(): boolean {
    return false;
  }

  async #open(path: string | null): Promise<void> {
    const folder = await this.frame.get<Folder>({ do: "folder", path });
    if (folder === null) return;
    this.#folder = folder;
    this.#showFolder();
  }

  #showFolder(): void {
    const folder = this.#folder;
    if (folder === null) return;
    setText(this.#where, folder.path);
    const { charts } = this.frame.told.settings;
    const rows: HTMLElement[] = [];
    if (folder.below > 0 && !charts.includes(folder.path)) {
      rows.push(pick(`take this folder: ${cellCount(folder.below, folder.is_counted)}`, false, () => void this.#toggle(folder.path)));
    }
    if (folder.up !== null) rows.push(button("up", () => void this.#open(folder.up), { class: "folder" }));
    else for (const root of folder.roots.filter((r) => r !== folder.path)) rows.push(button(root, () => void this.#open(root), { class: "folder" }));
    for (const inner of folder.folders) {
      const row = button("", () => void this.#open(inner.path), { class: "folder" });
      row.append(make("span", inner.name), make("small", inner.cells > 0 ? cellCount(inner.cells, inner.is_counted) : ""));
      rows.push(row);
    }
    if (folder.cells.length > 0) rows.push(make("p", folder.cells.slice(0, 24).join("  ") + (folder.cells.length > 24 ? ` and ${folder.cells.length - 24} more` : ""), { class: "names" }));
    const { tides } = this.frame.told.settings;
    const stations = folder.stations.filter((one) => !tides.includes(one.path));
    if (stations.length > 0) rows.push(make("p", "Tide stations, for depths with the tide of the hour:"));
    for (const one of stations) rows.push(pick(`take ${one.name}`, false, () => void this.#toggleTides(one.path)));
    if (folder.more > 0) rows.push(make("p", `${folder.more} more are not listed.`));
    if (folder.folders.length === 0 && folder.below === 0 && folder.stations.length === 0) rows.push(make("p", "No folder and no chart here."));
    this.#list.replaceChildren(...rows);
  }

  #showChosen(): void {
    const { charts, tides } = this.frame.told.settings;
    setText(this.#title, charts.length === 0 ? "Choose a folder of charts." : charts.length === 1 ? "These charts are taken." : "The charts of these folders are taken.");
    const key = [...charts, "", ...tides].join("\n");
    if (this.#chosen.dataset["key"] === key) return;
    this.#chosen.dataset["key"] = key;
    this.#chosen.replaceChildren(
      ...charts.map((path) => pick(path, true, () => void this.#toggle(path))),
      ...tides.map((path) => pick(`tide stations: ${path}`, true, () => void this.#toggleTides(path))),
    );
    this.#showFolder();
  }

  async #toggle(path: string): Promise<void> {
    const { charts } = this.frame.told.settings;
    const folders = charts.includes(path) ? charts.filter((one) => one !== path) : [...charts, path];
    if ((await this.frame.change({ do: "charts", folders })) === null) return;
    this.told();
    this.#look();
    this.frame.refresh();
  }

  async #toggleTides(path: string): Promise<void> {
    const { tides } = this.frame.told.settings;
    const files = tides.includes(path) ? tides.filter((one) => one !== path) : [...tides, path];
    if ((await this.frame.change({ do: "tides", files })) === null) return;
    this.told();
    this.frame.refresh();
  }

  /** Ask how far the reading has come, until it has. */
  #look(): void {
    window.clearTimeout(this.#poll);
    this.#poll = window.setTimeout(() => {
      void this.frame.get<Coverage>({ do: "coverage" }).then((coverage) => {
        if (coverage !== null) this.#showCoverage(coverage);
        if (coverage?.is_reading === true) this.#look();
      });
    }, 400);
  }

  #showCoverage(coverage: Coverage): void {
    this.#coverage = coverage;
    const found = coverage.found;
    const key = JSON.stringify([this.frame.told.settings.tides.length, coverage.is_reading, coverage.reading, coverage.place, found?.cells.length, found?.lines, this.element.clientWidth]);
    if (key === this.#drawn) return;
    this.#drawn = key;
    const lines: string[] = [];
    if (coverage.is_reading) lines.push(coverage.reading === null ? "Reading the charts; the first time takes a while." : `Reading ${coverage.reading.name}.`);
    lines.push(...(found?.warnings ?? []), ...(found?.lines ?? []));
    if (this.frame.told.settings.charts.length === 0) lines.push("Without charts echoes are told, and not explained.");
    else if (this.frame.told.settings.tides.length === 0) lines.push("Without tide stations depths stand at chart datum, with no tide added.");
    this.#lines.replaceChildren(...lines.map((line) => make("p", line)));
    this.#cells.replaceChildren(
      ...(found?.cells ?? []).map((cell) => {
        const row = make("li");
        const [head, rest] = cellWords(cell);
        row.append(make("b", head ?? ""), make("span", rest ?? ""));
        return row;
      }),
    );
    this.#map.element.classList.toggle("empty", (found?.cells.length ?? 0) === 0);
    this.#map.draw(found?.cells ?? [], coverage.place);
  }
}

function cellCount(count: number, isWhole: boolean): string {
  return `${count}${isWhole ? "" : " or more"} chart${count === 1 && isWhole ? "" : "s"}`;
}
