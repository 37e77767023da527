"""What the keel and the mast need: draught, squat, margins, tide, and how far a survey may be out."""

from __future__ import annotations

from dataclasses import dataclass

from moonless.boat.types import Boat
from moonless.chart.types import Catzoc, Feature
from moonless.units import down, up

# Air left under a bridge or cable: half a metre for a bridge (no source); a cable's charted safe clearance (VERCSA) has
# the electric distance in it already, and one without it gets 5 m (no source; utilities ask 2 to 6 m by voltage).
BRIDGE_MARGIN_M = 0.5
CABLE_MARGIN_M = 5.0
# Depth error of each zone at small depths, 95 %: IHO S-57 M_QUAL / CATZOC table: A1 0.5 m + 1 %, A2 and B 1 m + 2 %,
# C 2 m + 5 %, D and unassessed worse; taken as C's.
_ROUGH = (2.0, 0.05)
DEPTH_ERROR_M: dict[Catzoc, tuple[float, float]] = {
    "A1": (0.5, 0.01), "A2": (1.0, 0.02), "B": (1.0, 0.02), "C": _ROUGH, "D": _ROUGH, "U": _ROUGH,
}  # fmt: skip
# Worst last.
ZONES: tuple[Catzoc, ...] = ("A1", "A2", "B", "C", "D", "U")


def survey_error_m(depth_m: float, zone: Catzoc) -> float:
    """Return how far out a charted depth may be, 95 %."""
    fixed, share = DEPTH_ERROR_M[zone]
    return fixed + share * max(depth_m, 0.0)


def squat_m(speed: float, draught_m: float, depth_m: float) -> float:
    """Return how much deeper a small displacement hull sits under way in shallow water.

    Source: Barrass' simplified open-water formula, squat = C_b V_kn^2 / 100 with C_b 0.5, doubled in confined depths
    under twice the draught (from memory).  A planing boat lifts instead, so this errs to the deep side; bounded at a
    third of the draught.
    """
    knots = speed * 3600.0 / 1852.0
    settled = 0.5 * knots**2 / 100.0
    if depth_m < 2.0 * draught_m:
        settled *= 2.0
    return min(settled, draught_m / 3.0)


@dataclass(frozen=True, slots=True)
class Needs:
    """The boat as chart and tide meet her."""

    draught_m: float
    depth_margin_m: float
    air_draught_m: float
    beam_m: float
    speed: float = 0.0
    tide_m: float | None = None  # above chart datum; None: not known, counted as nought
    over_high_m: float = 0.0  # how far the tide stands above mean high water

    @staticmethod
    def of(boat: Boat, speed: float, tide_m: float | None = None, over_high_m: float | None = None) -> Needs:
        """Return the needs of a boat at a speed; a tide above high water that is not known takes nothing off."""
        return Needs(
            boat.draught_m,
            boat.skipper.depth_margin_m,
            boat.air_draught_m,
            boat.beam_m,
            speed,
            tide_m,
            max(over_high_m or 0.0, 0.0),
        )

    @property
    def deepest_m(self) -> float:
        """A charted depth from which on there is water enough, however rough the survey."""
        fixed, share = _ROUGH
        need = self.draught_m * (4.0 / 3.0) + self.depth_margin_m - (self.tide_m or 0.0)
        return max((need + fixed) / (1.0 - share), 0.0)

    def under_keel_m(self, depth_m: float) -> float:
        """Return the water left over draught, squat and margin at a charted depth; negative: too little."""
        water = depth_m + (self.tide_m or 0.0)
        return water - self.draught_m - squat_m(self.speed, self.draught_m, water) - self.depth_margin_m

    def over_mast_m(self, clearance_m: float, margin_m: float) -> float:
        """Return the air left over the mast and a margin under a charted clearance; negative: too little."""
        return clearance_m - self.over_high_m - self.air_draught_m - margin_m

    @property
    def tide_words(self) -> str:
        """The tide counted, in words."""
        return "tide not known" if self.tide_m is None else f"tide {down(self.tide_m)} m"

    @property
    def less_words(self) -> str:
        """What a tide above high water takes off a clearance, in words; "" where nothing."""
        if self.over_high_m < 0.05:
            return ""
        return f" less {up(self.over_high_m)} m of tide above mean high water"


def danger_depth_m(feature: Feature) -> float | None:
    """Return the depth over a rock, wreck or obstruction; None if the chart does not give it.

    VALSOU where charted.  Else WATLEV tells the most that can be there: what is dry at some state of the tide
    (1, 2, 4) or awash at datum (5) has no water over it at chart datum.
    """
    depth = feature.number("VALSOU")
    if depth is not None:
        return depth
    if feature.attributes.get("WATLEV") in (1, 2, 4, 5):
        return 0.0
    if feature.object == "WRECKS" and feature.attributes.get("CATWRK") in (4, 5):
        return 0.0
    return None
