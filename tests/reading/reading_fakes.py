"""Small stand-ins for the chart and the tracker, in a plane around an invented place in open ocean."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from moonless.boat.types import Boat, Pulse, RadarSet, Skipper, StoppingTrial
from moonless.chart.types import Feature, Mark, Quality
from moonless.frames import LocalFrame
from moonless.reading.situation import OwnState, Situation
from moonless.track.types import AisTarget, Track

FRAME = LocalFrame(10.0, -150.0)
S = 1_000_000_000
T0 = 1_900_000_000 * S

RADAR = RadarSet(
    kind="test", frequency_hz=9.4e9, polarisation="H", peak_power_w=4000.0, gain_db=24.0,
    beam_horizontal_rad=0.07, beam_vertical_rad=0.43, side_lobe_near_db=-22.0, side_lobe_far_db=-30.0,
    noise_figure_db=5.0, losses_db=3.0, rotation_hz=0.4,
    pulses=(Pulse(1.5, 8e-8, 3000.0, 2e7), Pulse(96.0, 3e-7, 1500.0, 5e6)), height_m=3.0,
)  # fmt: skip


def make_boat(**changes: Any) -> Boat:
    """Return an invented 9 m launch."""
    values: dict[str, Any] = {
        "name": "Test", "length_m": 9.0, "beam_m": 3.0, "draught_m": 0.9, "air_draught_m": 3.5,
        "eye_height_m": 2.2, "radar": RADAR,
        "stopping": (StoppingTrial(2.57, 12.0), StoppingTrial(5.14, 40.0), StoppingTrial(10.29, 120.0)),
        "skipper": Skipper(),
    }  # fmt: skip
    return Boat(**{**values, **changes})


def make_mark(east_m: float, north_m: float, name: str = "1", obj: str = "BCNLAT", floating: bool = False) -> Mark:
    """Return a charted mark."""
    return Mark(obj, name, "TEST", name, east_m, north_m, 4.0, floating, None, False, False, False, {})


@dataclass
class FakeChart:
    """Answers like a `Chart` and a `LocalChart` at once, already in the test's frame."""

    land: Any = field(default_factory=shapely.MultiPolygon)
    marks: tuple[Mark, ...] = ()
    bridges: tuple[Any, ...] = ()
    structures: tuple[Any, ...] = ()
    sigma_m: float = 5.0

    centre_lat_deg: float = 10.0
    centre_lon_deg: float = -150.0
    radius_m: float = 8000.0
    frame: LocalFrame = FRAME
    depths: tuple[Any, ...] = ()
    catzoc: int = 1  # A1
    bare: tuple[Any, ...] = ()  # covered, and nothing said of it

    @property
    def coverage(self) -> Any:
        return shapely.box(-20_000.0, -20_000.0, 20_000.0, 20_000.0)

    @property
    def sea(self) -> Feature:
        """Deep water wherever nothing else is charted, as in any official chart."""
        charted = [f.shape for f in self.depths if shapely.get_dimensions(f.shape) == 2]
        rest = shapely.difference(self.coverage, shapely.union_all([self.land, *charted, *self.bare]))
        return Feature("DEPARE", "TEST", "sea", rest, {"DRVAL1": 30.0}, 10_000)

    def features(self, *wanted: str) -> tuple[Any, ...]:
        zone = Feature("M_QUAL", "TEST", "zone", self.coverage, {"CATZOC": self.catzoc}, 10_000)
        return tuple(f for f in (*self.depths, self.sea, zone) if not wanted or f.object in wanted)

    def around(self, lat_deg: float, lon_deg: float, radius_m: float) -> FakeChart:
        return self

    def reframed(self, frame: LocalFrame) -> FakeChart:
        return self

    def quality_at(self, east_m: float, north_m: float) -> Quality:
        return Quality("B", self.sigma_m, "TEST", 10_000)


def make_track(
    number: int, east_m: float, north_m: float, ve: float = 0.0, vn: float = 0.0, p_moving: float | None = None,
    **changes: Any,
) -> Track:  # fmt: skip
    """Return a track with a settled state."""
    moving = (0.99 if np.hypot(ve, vn) > 0.5 else 0.01) if p_moving is None else p_moving
    values: dict[str, Any] = {
        "id": number, "state": "confirmed", "time_ns": T0, "east_m": east_m, "north_m": north_m,
        "velocity_east": ve, "velocity_north": vn, "covariance": np.diag([25.0, 25.0, 0.04, 0.04]), "p_exists": 0.99,
        "p_moving": moving, "turn_rate": None, "length_m": None, "beam_m": None, "orientation_rad": None,
        "strength_db": 25.0, "started_ns": T0 - 60 * S, "last_plot_ns": T0, "n_scans": 24, "n_hits": 23,
        "misses_in_a_row": 0, "last_plot": None,
    }  # fmt: skip
    values |= changes
    values.setdefault("seen_share", min(1.0, values["n_hits"] / values["n_scans"]))  # as often lately as ever
    return Track(**values)


def make_situation(
    tracks: Sequence[Track] = (), east_m: float = 0.0, north_m: float = 0.0, heading_rad: float | None = 0.0,
    sog: float | None = 5.0, ais: Sequence[AisTarget] = (), **changes: Any,
) -> Situation:  # fmt: skip
    """Return a turn with the boat at a place of the test's plane, going the way it heads."""
    lat, lon = FRAME.to_geographic(east_m, north_m)
    own = OwnState(float(lat), float(lon), heading_rad, heading_rad, sog)
    values: dict[str, Any] = {
        "time_ns": T0, "own": own, "frame": FRAME, "scan": None, "picture": None, "tracks": tuple(tracks),
        "ais": tuple(ais),
    }  # fmt: skip
    return Situation(**{**values, **changes})
