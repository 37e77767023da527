"""Which charted marks were looked for this turn, which showed, and which are missing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from moonless.boat.types import Boat
from moonless.chart.types import Mark
from moonless.constants import TAU
from moonless.echo.types import EchoPicture
from moonless.frames import wrap_pi
from moonless.reading.chart_around import Place
from moonless.reading.expected import Outlook
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.missing import WORTH_LOOKING, MissingWatch
from moonless.reading.own import OwnPlane
from moonless.scan.types import Scan

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# A plot further from the mark's place than this many sigma is not the mark.
GATE = 2.5
# Echo of something else this many beams to the side and pulses off in range covers a mark: they would be one echo.
COVER_BEAMS, COVER_PULSES = 0.9, 1.5
SHORE_BEAMS = 0.75
# What is missed: aids to navigation.  Piles and posts of a harbour come and go without a notice.
AIDS = ("BCN", "BOY", "LIT", "LIGHTS", "DAYMAR")
# When more than this share of at least so many marks that should show do not, it is not the marks.
MOST = 0.5
LEAST_TO_JUDGE = 4


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """One turn's looks, arrays over the marks of the place."""

    asked: NDArray[np.int64]  # indices of the marks within reach
    p: Floats  # (k,) chance to show, tonight's performance included; NaN where not asked
    looked: Bools  # (k,) the place was scanned and nothing lies over it
    seen: Bools  # (k,) an echo lies there
    alone: Bools | None = (
        None  # (k,) nothing else that echoes stands or lies within a beam and a pulse; None: not asked
    )


@dataclass(frozen=True, slots=True, eq=False)
class MissingMark:
    """A charted aid that should have shown and did not."""

    mark: Mark
    p_seen_if_there: float  # mean over the looks
    looks: int


class Lookout:
    """Watches the marks in view."""

    def __init__(self, boat: Boat) -> None:
        self._boat = boat
        self._watch = MissingWatch()
        self._gone: dict[tuple[str, str], float] = {}
        self._named_place: Place | None = None
        self._names: list[tuple[str, str]] = []

    def gone(self, place: Place) -> Floats:
        """Return (k,) how likely each mark is not where it is charted, as far as looked."""
        if place is not self._named_place:
            self._named_place, self._names = place, [(m.cell, m.feature) for m in place.marks]
        known = self._gone
        return np.array([known.get(name, 0.0) for name in self._names])

    def look(
        self,
        own: OwnPlane,
        place: Place,
        outlook: Outlook,
        plots_en: Floats,
        plot_sigma_m: Floats,
        scan: Scan,
        picture: EchoPicture,
        p_tonight: Floats,
        pose_sigma_m: float,
    ) -> Looked:
        """Take in one turn.

        ``plots_en`` (p, 2): this turn's plots, put right; ``plot_sigma_m`` (p, 2) along and across the bearing.
        ``p_tonight`` (k,): chance of each mark to show by its strength and tonight's performance, clutter left out.
        """
        k = len(place.marks)
        asked = np.flatnonzero(np.isfinite(outlook.mark_p))
        p = np.full(k, np.nan)
        looked, seen = np.zeros(k, dtype=np.bool_), np.zeros(k, dtype=np.bool_)
        if asked.size == 0 or own.heading_rad is None:
            return Looked(asked, p, looked, seen)
        p[asked] = np.minimum(outlook.mark_p[asked], p_tonight[asked])
        rel = place.mark_en[asked] - np.array([own.east_m, own.north_m])
        reach = np.hypot(rel[:, 0], rel[:, 1])
        azimuth = np.mod(np.arctan2(rel[:, 0], rel[:, 1]) - own.heading_rad, TAU)
        base = place.mark_sigma_m[asked] ** 2 + place.mark_swing_m[asked] ** 2 + pose_sigma_m**2
        hit, covered, crowded = self._against_plots(
            rel, reach, base, plots_en - np.array([own.east_m, own.north_m]), plot_sigma_m, scan
        )
        joined = self._unparted(rel, reach, outlook.mark_p[asked], scan)
        # A mark that stands this near the shore is one echo with it.
        part_m = np.maximum(SHORE_BEAMS * scan.errors.beam_rad * reach, scan.errors.pulse_m)
        joined |= place.mark_shore_m[asked] < part_m
        joined |= _in_shore(azimuth, reach, picture, scan) | outlook.mark_merged[asked]
        covered |= joined
        alone = np.zeros(k, dtype=np.bool_)
        alone[asked] = ~joined & ~crowded
        seen[asked] = hit
        looked[asked] = self._scanned(azimuth, reach, scan) & ~covered & ~hit
        names = [(place.marks[i].cell, place.marks[i].feature) for i in asked]
        accounts = self._watch.look(names, p[asked], looked[asked], seen[asked])
        for name, account in zip(names, accounts, strict=True):
            self._gone[name] = account.p_gone
        return Looked(asked, p, looked, seen, alone)

    def missing(self, place: Place, looked: Looked, explained: list[Explained]) -> tuple[MissingMark, ...]:
        """Return the marks that are missing; one found elsewhere has moved and is not."""
        found = {told.mark for told in explained if told.mark is not None}
        out: list[MissingMark] = []
        if self._is_radars_fault(place, looked):
            return ()
        for i in looked.asked.tolist():
            mark = place.marks[i]
            account = self._watch.of((mark.cell, mark.feature))
            if account is None or not account.is_missing or i in found or not mark.object.startswith(AIDS):
                continue
            out.append(MissingMark(mark, account.p_seen, account.looks))
        return tuple(out)

    def _is_radars_fault(self, place: Place, looked: Looked) -> bool:
        """Return whether most of what should show does not: then it is the radar that does not see, not the marks."""
        due = looked.asked[looked.p[looked.asked] >= WORTH_LOOKING]
        if len(due) < LEAST_TO_JUDGE:
            return False
        gone = self.gone(place)[due]
        return bool(np.mean(gone > 0.5) > MOST)

    def _against_plots(
        self, rel: Floats, reach: Floats, base: Floats, plots: Floats, sigma: Floats, scan: Scan
    ) -> tuple[Bools, Bools, Bools]:
        """Return which marks have a plot on them, which one beside that covers their place, and which more than one."""
        if not len(plots):
            nothing = np.zeros(len(rel), dtype=np.bool_)
            return nothing, nothing.copy(), nothing.copy()
        unit = rel / np.maximum(reach, 1.0)[:, None]
        gap = plots[None, :, :] - rel[:, None, :]
        along = np.abs(gap[..., 0] * unit[:, None, 0] + gap[..., 1] * unit[:, None, 1])
        across = np.abs(gap[..., 0] * unit[:, None, 1] - gap[..., 1] * unit[:, None, 0])
        beam, pulse = scan.errors.beam_rad, scan.errors.pulse_m
        room_along = GATE * np.sqrt(base[:, None] + sigma[None, :, 0] ** 2)
        room_across = GATE * np.sqrt(base[:, None] + sigma[None, :, 1] ** 2)
        on = ((along / room_along) ** 2 + (across / room_across) ** 2 < 1.0).any(axis=1)
        beside = (along < COVER_PULSES * pulse) & (across < COVER_BEAMS * beam * reach[:, None])
        return np.asarray(on), np.asarray(beside.any(axis=1) & ~on), np.asarray(beside.sum(axis=1) > 1)

    def _unparted(self, rel: Floats, reach: Floats, p: Floats, scan: Scan) -> Bools:
        """Return which marks the beam cannot part from another that should show.

        When such a pair is silent it is the picture that fails: that both are gone at once is far less likely.
        """
        unit = rel / np.maximum(reach, 1.0)[:, None]
        gap = rel[None, :, :] - rel[:, None, :]
        along = np.abs(gap[..., 0] * unit[:, None, 0] + gap[..., 1] * unit[:, None, 1])
        across = np.abs(gap[..., 0] * unit[:, None, 1] - gap[..., 1] * unit[:, None, 0])
        near = (along < COVER_PULSES * scan.errors.pulse_m) & (
            across < COVER_BEAMS * scan.errors.beam_rad * reach[:, None]
        )
        np.fill_diagonal(near, False)
        return np.asarray((near & (p >= WORTH_LOOKING)[None, :]).any(axis=1))

    def _scanned(self, azimuth: Floats, reach: Floats, scan: Scan) -> Bools:
        n = scan.echo.shape[0]
        spoke = np.round(azimuth / TAU * n).astype(np.int64)
        half = max(1, round(0.5 * scan.errors.beam_rad / TAU * n))
        received = np.ones(len(azimuth), dtype=np.bool_)
        for k in range(-half, half + 1):
            received &= scan.shows((spoke + k) % n, reach)
        return np.asarray(received & (reach < 0.97 * scan.max_range_m) & (reach > 2.0 * self._boat.radar.min_range_m))


def _in_shore(azimuth: Floats, reach: Floats, picture: EchoPicture, scan: Scan) -> Bools:
    """Return which places lie inside an extended echo, or within a beam or a pulse of it."""
    out = np.zeros(len(azimuth), dtype=np.bool_)
    if not picture.shores:
        return out
    az = np.concatenate([s.azimuth_rel_rad for s in picture.shores])
    near = np.concatenate([s.near_range_m for s in picture.shores])
    far = np.concatenate([s.far_range_m for s in picture.shores])
    for i in range(len(azimuth)):
        beside = np.abs(wrap_pi(az - azimuth[i])) < 0.75 * scan.errors.beam_rad
        slack = scan.errors.pulse_m + 10.0
        out[i] = bool(np.any(beside & (near - slack < reach[i]) & (reach[i] < far + slack)))
    return out
