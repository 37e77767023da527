/** How deep water must be charted for this boat. */
import type { State } from "./store";

/** Where the boat file was not heard of yet. Metres; own choice: more than such a boat needs. */
const UNKNOWN_M = 5;

/**
 * Draught and margin less the tide: the charted depth below which water is not for this boat. A tide not known counts as
 * none, which is the cautious side of chart datum nearly always.
 */
export function safetyDepthM(state: Pick<State, "hello" | "affairs">): number {
  const boat = state.hello?.boat;
  if (boat?.draught_m === undefined) return UNKNOWN_M;
  const needed = boat.draught_m + (boat.depth_margin_m ?? 0.5) - (state.affairs?.tide_m ?? 0);
  // To a tenth, so that a tide that creeps does not redraw the chart each second; up, for less is not enough.
  return Math.ceil(needed * 10 - 1e-6) / 10;
}
