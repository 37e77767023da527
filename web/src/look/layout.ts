/**
 * Where everything lies, for five sizes of screen. Each keeps at least half of itself for the picture, with a drawer open
 * as well as without; the band with the order lies along the lower edge, and nothing ever lies over it.
 */
export type LayoutKind = "phone-upright" | "phone-lying" | "tablet-upright" | "tablet-lying" | "desktop";

/** Page pixels. */
export interface Rect {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

export interface Layout {
  readonly kind: LayoutKind;
  readonly picture: Rect;
  /** The order, its reason, the speed. */
  readonly band: Rect;
  /** The five controls. */
  readonly bar: Rect;
  readonly figures: Rect;
  /** The list of echoes, where there is room for it always. */
  readonly list: Rect | null;
  readonly drawer: Rect;
  /** What is left of the picture while a drawer is open. */
  readonly free: Rect;
}

/** The shorter side below which it is a phone, and the width from which it is a desktop; own choice. */
const PHONE_PX = 540;
const DESKTOP_PX = 1366;
/** A little more than half, so that rounding takes nothing from it. */
const SHARE = 0.502;
const COLUMN_PX = 100;

export function layoutOf(width: number, height: number, hand: "left" | "right"): Layout {
  const isUpright = height > width;
  if (Math.min(width, height) < PHONE_PX) return isUpright ? phoneUpright(width, height) : phoneLying(width, height, hand);
  return isUpright ? tabletUpright(width, height, hand) : wide(width, height, hand);
}

/** From below: the band, a row of controls, two rows of figures, the picture. A drawer rises over controls and figures. */
function phoneUpright(width: number, height: number): Layout {
  const band = { x: 0, y: height - 124, width, height: 124 };
  const bar = { x: 0, y: band.y - 72, width, height: 72 };
  const figures = { x: 0, y: bar.y - 40, width, height: 40 };
  const picture = { x: 0, y: 0, width, height: figures.y };
  const free = { ...picture, height: Math.min(picture.height, Math.ceil(SHARE * height)) };
  return { kind: "phone-upright", picture, band, bar, figures, list: null, drawer: { x: 0, y: free.height, width, height: band.y - free.height }, free };
}

/** The figures lie in the band beside the order; the controls are a column, and a drawer lies over it. */
function phoneLying(width: number, height: number, hand: "left" | "right"): Layout {
  const bandHeight = 80;
  const band = { x: 0, y: height - bandHeight, width, height: bandHeight };
  const figures = { x: 0, y: band.y, width: Math.round(Math.min(236, 0.28 * width)), height: bandHeight };
  const drawerWidth = width - Math.ceil((SHARE * width * height) / band.y);
  const bar = beside(width, 92, band.y, hand);
  return {
    kind: "phone-lying", picture: rest(width, 92, band.y, hand), band, bar, figures, list: null,
    drawer: beside(width, drawerWidth, band.y, hand), free: rest(width, drawerWidth, band.y, hand),
  };
}

/** A column of figures above and controls below; a drawer rises from the band beside it. */
function tabletUpright(width: number, height: number, hand: "left" | "right"): Layout {
  const band = { x: 0, y: height - 132, width, height: 132 };
  const { bar, figures } = column(width, band.y, hand);
  const picture = rest(width, COLUMN_PX, band.y, hand);
  const free = { ...picture, height: Math.ceil((SHARE * width * height) / picture.width) };
  const drawer = { ...picture, y: free.height, height: band.y - free.height };
  return { kind: "tablet-upright", picture, band, bar, figures, list: null, drawer, free };
}

/** The same column; a drawer stands beside it. Where it is wide the list of echoes has a place of its own, which a drawer takes. */
function wide(width: number, height: number, hand: "left" | "right"): Layout {
  const band = { x: 0, y: height - 124, width, height: 124 };
  const { bar, figures } = column(width, band.y, hand);
  const most = width - COLUMN_PX - Math.ceil((SHARE * width * height) / band.y);
  if (width < DESKTOP_PX) {
    const wideness = Math.min(400, most);
    const from = hand === "right" ? width - COLUMN_PX - wideness : COLUMN_PX;
    const picture = rest(width, COLUMN_PX, band.y, hand);
    const free = { ...picture, x: hand === "right" ? 0 : from + wideness, width: picture.width - wideness };
    return { kind: "tablet-lying", picture, band, bar, figures, list: null, drawer: { x: from, y: 0, width: wideness, height: band.y }, free };
  }
  // Away from the hand, so that neither list nor drawer lies between her and the controls.
  const wideness = Math.min(380, most);
  const list = { x: hand === "right" ? 0 : width - wideness, y: 0, width: wideness, height: band.y };
  const picture = { x: hand === "right" ? wideness : COLUMN_PX, y: 0, width: width - COLUMN_PX - wideness, height: band.y };
  return { kind: "desktop", picture, band, bar, figures, list, drawer: list, free: picture };
}

function column(width: number, height: number, hand: "left" | "right"): { bar: Rect; figures: Rect } {
  const x = hand === "right" ? width - COLUMN_PX : 0;
  const button = Math.min(Math.max(Math.floor(0.12 * height), 76), 96);
  const bar = { x, y: height - 5 * button, width: COLUMN_PX, height: 5 * button };
  return { bar, figures: { x, y: 0, width: COLUMN_PX, height: bar.y } };
}

function beside(width: number, wideness: number, height: number, hand: "left" | "right"): Rect {
  return { x: hand === "right" ? width - wideness : 0, y: 0, width: wideness, height };
}

function rest(width: number, wideness: number, height: number, hand: "left" | "right"): Rect {
  return { x: hand === "right" ? 0 : wideness, y: 0, width: width - wideness, height };
}

/** Lay an element into its place. */
export function lay(element: HTMLElement, rect: Rect): void {
  element.style.left = `${rect.x}px`;
  element.style.top = `${rect.y}px`;
  element.style.width = `${rect.width}px`;
  element.style.height = `${rect.height}px`;
}
