/** A small fan that shows each spoke of a radar come in: the newest bright, older ones fading as they age. */
import { css, LOOKS, type Inks } from "../../look/table";
import type { SpokeFan } from "../../wire/frame";

const GONE_TENTHS = 60;

export class FanCanvas {
  readonly element = document.createElement("canvas");

  constructor(readonly px: number) {
    this.element.className = "spokes";
    this.element.setAttribute("aria-hidden", "true");
  }

  draw(fan: SpokeFan, inks: Inks = LOOKS[(document.documentElement.dataset["look"] ?? "night") as keyof typeof LOOKS]): void {
    const scale = Math.min(window.devicePixelRatio, 2);
    const size = Math.round(this.px * scale);
    if (this.element.width !== size) this.element.width = this.element.height = size;
    const ctx = this.element.getContext("2d");
    if (ctx === null) return;
    const picture = ctx.createImageData(size, size);
    const middle = size / 2;
    const [weak, strong] = [inks.echoWeak, inks.echoStrong];
    for (let y = 0; y < size; y++) {
      for (let x = 0; x < size; x++) {
        const dx = x + 0.5 - middle;
        const dy = y + 0.5 - middle;
        const r = Math.hypot(dx, dy) / (middle - scale * 2);
        if (r >= 1) continue;
        const row = Math.floor((((Math.atan2(dx, -dy) / (2 * Math.PI)) % 1) + 1) * fan.nRow) % fan.nRow;
        const age = fan.age[row] ?? 255;
        if (age >= GONE_TENTHS) continue;
        const level = (fan.echo[row * fan.nCell + Math.floor(r * fan.nCell)] ?? 0) / 255;
        const fresh = 1 - age / GONE_TENTHS;
        const lit = level > 0.08 ? Math.max(0.25, level) * (0.35 + 0.65 * fresh) : 0.05 * fresh;
        const at = 4 * (y * size + x);
        for (let c = 0; c < 3; c++) {
          const full = (weak[c] ?? 0) + ((strong[c] ?? 0) - (weak[c] ?? 0)) * level;
          picture.data[at + c] = Math.round((inks.sheet[c] ?? 0) + (full - (inks.sheet[c] ?? 0)) * lit);
        }
        picture.data[at + 3] = 255;
      }
    }
    ctx.putImageData(picture, 0, 0);
    ctx.lineWidth = scale;
    ctx.strokeStyle = css(inks.whisper);
    ctx.beginPath();
    ctx.arc(middle, middle, middle - scale * 2, 0, 2 * Math.PI);
    ctx.stroke();
    // The spoke that has just come in.
    if ((fan.age[fan.newestRow] ?? 255) < 10) {
      const a = ((fan.newestRow + 0.5) / fan.nRow) * 2 * Math.PI;
      ctx.strokeStyle = css(inks.shout);
      ctx.beginPath();
      ctx.moveTo(middle, middle);
      ctx.lineTo(middle + (middle - scale * 2) * Math.sin(a), middle - (middle - scale * 2) * Math.cos(a));
      ctx.stroke();
    }
  }
}
