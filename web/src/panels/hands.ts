/**
 * Fingers on the sheet. With a tool in hand the first finger is the tool's; else a touch asks what an echo is, a drag
 * moves the sheet, two fingers change the range. A locked sheet takes nothing.
 */
export interface HandsOn {
  readonly isLocked: () => boolean;
  /** A tool takes touches now. */
  readonly hasTool: () => boolean;
  readonly tool: (what: "down" | "move" | "up", x: number, y: number) => void;
  readonly tap: (x: number, y: number) => void;
  readonly drag: (dx: number, dy: number) => void;
  /** Steps of the range: 1 farther. */
  readonly range: (step: number) => void;
  /** A finger is on the sheet, or no more. */
  readonly touched: (isDown: boolean) => void;
}

/** A finger that went no further has touched, not dragged; page pixels. Own choice: a wet glove on a moving boat. */
const DRAG_PX = 14;
/** Two fingers so much further apart are one step of the range. */
const PINCH = 1.3;

interface Finger {
  x: number;
  y: number;
}

export function listenHands(sheet: HTMLElement, on: HandsOn): void {
  const fingers = new Map<number, Finger>();
  let began: Finger | null = null;
  let isDragging = false;
  let apart: number | null = null;

  const span = (): number => {
    const [a, b] = [...fingers.values()];
    return a === undefined || b === undefined ? 0 : Math.hypot(a.x - b.x, a.y - b.y);
  };

  sheet.addEventListener("pointerdown", (event) => {
    // A button on the sheet takes its own touches.
    if (on.isLocked() || (event.target instanceof Element && event.target.closest("button") !== null)) return;
    if (on.hasTool()) {
      if (!event.isPrimary) return;
      sheet.setPointerCapture(event.pointerId);
      on.tool("down", event.clientX, event.clientY);
      on.touched(true);
      return;
    }
    fingers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    sheet.setPointerCapture(event.pointerId);
    on.touched(true);
    if (fingers.size === 1) {
      began = { x: event.clientX, y: event.clientY };
      isDragging = false;
    } else {
      // A second finger: neither a touch nor a drag any more.
      began = null;
      apart = fingers.size === 2 ? span() : null;
    }
  });
  sheet.addEventListener("pointermove", (event) => {
    if (on.isLocked()) return;
    if (on.hasTool()) {
      if (event.isPrimary) on.tool("move", event.clientX, event.clientY);
      return;
    }
    const finger = fingers.get(event.pointerId);
    if (finger === undefined) return;
    const [dx, dy] = [event.clientX - finger.x, event.clientY - finger.y];
    if (fingers.size === 2 && apart !== null) {
      finger.x = event.clientX;
      finger.y = event.clientY;
      const ratio = span() / Math.max(apart, 1);
      if (ratio < PINCH && ratio > 1 / PINCH) return;
      on.range(ratio > 1 ? -1 : 1);
      apart = span();
      return;
    }
    if (began === null) return;
    if (!isDragging && Math.hypot(event.clientX - began.x, event.clientY - began.y) < DRAG_PX) return;
    isDragging = true;
    finger.x = event.clientX;
    finger.y = event.clientY;
    on.drag(dx, dy);
  });
  for (const end of ["pointerup", "pointercancel"] as const) {
    sheet.addEventListener(end, (event) => {
      const isTouch = end === "pointerup" && began !== null && !isDragging && fingers.has(event.pointerId);
      fingers.delete(event.pointerId);
      if (fingers.size === 0) on.touched(false);
      if (on.isLocked()) return;
      if (on.hasTool()) {
        if (event.isPrimary) on.tool("up", event.clientX, event.clientY);
        return;
      }
      if (isTouch) on.tap(event.clientX, event.clientY);
      if (fingers.size === 0) began = apart = null;
    });
  }
  sheet.addEventListener(
    "wheel",
    (event) => {
      event.preventDefault();
      if (!on.isLocked() && Math.abs(event.deltaY) >= 4) on.range(Math.sign(event.deltaY));
    },
    { passive: false },
  );
}
