"""What the run itself says is worth practising next, most pressing first."""

from __future__ import annotations

from moonless.debrief.figures import MarkMissed
from moonless.debrief.types import Debrief, Practise

# Shorter than this is a moment, not a habit; own figure.
HABIT_S = 20.0


def to_practise(found: Debrief) -> tuple[Practise, ...]:
    """Return what to practise; empty where the run gives no reason."""
    out = []
    inside = [m for m in found.meetings if m.closest_m < m.keep_off_m]
    if inside:
        near = min(inside, key=lambda m: m.closest_m / m.keep_off_m)
        out.append(
            Practise(
                "Will she pass clear, and what do I do about it early",
                f"{len(inside)} came inside the keep-off; {near.who} passed {near.closest_m:.0f} m off where "
                f"{near.keep_off_m:.0f} m were asked, and what was done was: {near.done}.",
            )
        )
    missed = [o for o in found.orders if o.followed is False]
    if missed:
        out.append(
            Practise(
                "Doing at once what is told, or saying why not",
                f"of {sum(o.followed is not None for o in found.orders)} orders that can be judged {len(missed)} were "
                f"not followed within half a minute, the first: {missed[0].say}.",
            )
        )
    if found.pace.over_s > HABIT_S:
        out.append(
            Practise(
                "Choosing the speed that goes with what is seen",
                f"{found.pace.over_s:.0f} s faster than advised, by up to {found.pace.most_over_kn:.1f} kn: "
                f"{found.pace.because}",
            )
        )
    if found.hidden.near_s > HABIT_S:
        out.append(
            Practise(
                "What does the point hide",
                f"for {found.hidden.near_s:.0f} s hidden water in the way lay nearer than it takes to stop for what "
                f"comes out of it.",
            )
        )
    if found.depth.below_margin_s > 0.0:
        out.append(
            Practise(
                "Holding the sounder against the chart and the tide",
                f"{found.depth.below_margin_s:.0f} s with less under the keel than the margin you set.",
            )
        )
    if any(c.is_late for c in found.calls):
        late = next(c for c in found.calls if c.is_late)
        out.append(
            Practise(
                "Looking further ahead: a shorter range is no early warning",
                f"first said with {late.left_s:.0f} s left: {late.say}",
            )
        )
    if found.marks:
        out.append(
            Practise(
                "What is missing",
                f"did not show though it should have: {', '.join(_name(m) for m in found.marks[:4])}.",
            )
        )
    if found.radar.faults:
        what, state, seconds = max(found.radar.faults, key=lambda f: f[2])
        out.append(Practise("Going on when an instrument fails", f"{what} was {state} for {seconds:.0f} s."))
    if found.registered.bias_deg is not None and abs(found.registered.bias_deg) > 2.0:
        out.append(
            Practise(
                "A heading that is off",
                f"radar and chart agreed with the heading {found.registered.bias_deg:+.1f}° off: set it right before "
                f"the next run.",
            )
        )
    return tuple(out)


def _name(mark: MarkMissed) -> str:
    return mark.name or mark.object
