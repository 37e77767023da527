"""How the radar performs tonight, in decibels against its own figures, by the charted marks as test targets.

For each mark the offset is held as a likelihood over a comb of values: a turn in which it shows speaks by its
strength, one in which it does not by its silence.  Marks differ from their kind by some decibels, which more turns do
not average away: so each mark's likelihood is spread by that much before the marks are put together.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from moonless.boat.types import RadarSet
from moonless.echo.types import EchoPicture
from moonless.radar.link.budget import link_budget
from moonless.radar.link.detection import p_detect
from moonless.reading.chart_around import Place
from moonless.reading.expected import Outlook
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.mark_watch import Looked

Floats = NDArray[np.float64]

COMB_DB = np.arange(-24.0, 10.01, 0.5)
START_SIGMA_DB = 5.0
# What a mark may differ from its kind's cross-section, one sigma.  Own figure, no source.
KIND_SIGMA_DB = 3.0
# An echo's peak is the strongest of the spokes that the beam's middle sweeps, each with noise of its own; so many of a
# half-power beam's spokes are strong enough to be it.  Own figure.
PEAK_SHARE = 0.5
# Share of the past kept each turn: what is wet dries, and the estimate must follow within a few minutes.
KEEP = 0.985
ODD_ONE_OUT = 0.2
# A mark must be this likely to show, by the chart and its history, to count: seen or not, else only luck would count.
LIKELY = 0.5
# Share of the past kept each turn of how strong the echoes were that spoke: what an unsure curve makes unsure.
LEVEL_KEEP = 0.9
SURE_CHARTED = 0.7
GONE_BELOW = 0.5
LN10_10 = math.log(10.0) / 10.0


class Performance:
    """Keeps the offset through time."""

    def __init__(self, radar: RadarSet) -> None:
        self._radar = radar
        self._marks: dict[tuple[str, str], Floats] = {}
        self._looks: dict[tuple[str, str], float] = {}
        self._weights = _prior()
        self._curve_sigma_db = 0.0
        spread = np.exp(-0.5 * ((COMB_DB[:, None] - COMB_DB[None, :]) / KIND_SIGMA_DB) ** 2)
        self._spread = spread / spread.sum(axis=1, keepdims=True)

    @property
    def offset_db(self) -> float:
        """Best offset, nought while nothing is known; negative: sees worse than its figures."""
        return float(COMB_DB @ self._weights)

    @property
    def sigma_db(self) -> float:
        """One standard deviation of the offset, with what is not known of the receiver's curve."""
        return math.hypot(math.sqrt(float(((COMB_DB - self.offset_db) ** 2) @ self._weights)), self._curve_sigma_db)

    @property
    def cautious_db(self) -> float:
        """The offset less one sigma: what is not known of the performance takes from how far things are seen."""
        return self.offset_db - self.sigma_db

    @property
    def is_shown(self) -> bool:
        """Whether at least two marks have shown how the radar performs."""
        return self.fall_db is not None

    @property
    def fall_db(self) -> float | None:
        """The offset where at least two marks have shown it, else None."""
        return self.offset_db if sum(looks >= 4.0 for looks in self._looks.values()) >= 2 else None

    def p_detect(self, snr: Floats, hits: float) -> Floats:
        """Return the chance that echoes of these mean ratios show, averaged over what the offset may be."""
        used = np.flatnonzero(self._weights > 1e-3)
        gain = 10.0 ** (COMB_DB[used] / 10.0)
        weights = self._weights[used] / self._weights[used].sum()
        return np.asarray(p_detect(np.asarray(snr)[:, None] * gain[None, :], hits) @ weights)

    def strength_db(self, snr: Floats) -> Floats:
        """Return the strength that echoes of these mean signal-to-noise ratios should have tonight; NaN stays."""
        gain = 10.0 ** (self.offset_db / 10.0)
        # The mean of an exponential in decibels lies 2.5 dB below the decibels of its mean.
        return np.asarray(10.0 * np.log10(1.0 + snr * gain) - 2.5)

    def take_in(
        self,
        place: Place,
        outlook: Outlook,
        looked: Looked,
        gone: Floats,
        evidence: Evidence,
        explained: list[Explained],
        picture: EchoPicture,
        scale_nm: float,
        n_spoke: int | None = None,
    ) -> None:
        """Take in one turn.  ``n_spoke``: spokes of the scan, None where that is not known."""
        link = link_budget(self._radar, scale_nm)
        hits = link.hits
        levels: list[float] = []
        for name in self._marks:
            self._marks[name] *= KEEP
            self._looks[name] *= KEEP
        shown: set[int] = set()
        for i, told in enumerate(explained):
            plot = evidence.tracks[i].last_plot
            if told.mark is None or told.confidence < SURE_CHARTED or plot is None or plot >= len(picture.plots):
                continue
            k = told.mark
            snr = float(outlook.mark_snr[k])
            shown.add(k)
            if outlook.mark_merged[k] or not snr > 1e-3 or not outlook.mark_p[k] > LIKELY:
                continue
            if looked.alone is not None and not looked.alone[k]:
                continue
            if picture.plots.is_clipped[plot]:
                continue
            level = _peak_db(picture, plot, float(evidence.level_db[i]))
            levels.append(level)
            tried = snr * 10.0 ** (COMB_DB / 10.0)
            x = LN10_10 * (level - 10.0 * np.log10(1.0 + tried) - self._peak_over_mean_db(tried, hits, n_spoke))
            # Power of a slowly fluctuating echo is exponential about its mean; in decibels this is its density.
            self._add(place, k, np.maximum(x - np.exp(x), -12.0))
        for k in np.flatnonzero(looked.looked).tolist():
            if k in shown or gone[k] > GONE_BELOW or not outlook.mark_p[k] > LIKELY:
                continue
            p = p_detect(outlook.mark_snr[k] * 10.0 ** (COMB_DB / 10.0), hits)
            self._add(place, k, np.log(np.clip(1.0 - p, 0.02, 1.0)))
        if levels:
            self._weigh_curve(picture, float(np.median(levels)))
        self._settle()

    def _peak_over_mean_db(self, snr: Floats, hits: float, n_spoke: int | None) -> Floats:
        """Return by how much the strongest spoke of an echo passes its mean, in decibels; 0 where spokes are not known.

        Power in noise, averaged over a spoke's pulses, varies by sqrt((1 + 2 snr) / pulses); the largest of m such is
        about the (m - 0.375) / (m + 0.25) quantile of a normal distribution above their mean (Blom's formula).
        """
        if n_spoke is None:
            return np.zeros_like(snr)
        spokes = max(1.0, self._radar.beam_horizontal_rad / (2.0 * math.pi) * n_spoke)
        pulses = max(1.0, hits / spokes)
        m = max(1.0, PEAK_SHARE * spokes)
        above = float(ndtri((m - 0.375) / (m + 0.25))) * np.sqrt((1.0 + 2.0 * snr) / pulses)
        return np.asarray(10.0 * np.log10(1.0 + np.maximum(above, 0.0) / (1.0 + snr)))

    def _weigh_curve(self, picture: EchoPicture, level_db: float) -> None:
        """Take in how unsure the receiver's curve makes levels like this turn's."""
        now = 0.0
        if picture.db_per_count is not None and picture.db_per_count_sigma is not None:
            relative = picture.db_per_count_sigma / picture.db_per_count
            if picture.db_per_tenfold is None:
                now = abs(level_db) * relative
            else:
                # A power law is out by how far its noise is, at every level alike.
                now = picture.db_per_tenfold * relative / math.log(10.0)
        self._curve_sigma_db = LEVEL_KEEP * self._curve_sigma_db + (1.0 - LEVEL_KEEP) * now

    def _add(self, place: Place, k: int, log_likelihood: Floats) -> None:
        name = (place.marks[k].cell, place.marks[k].feature)
        self._marks[name] = self._marks.get(name, np.zeros(len(COMB_DB))) + log_likelihood
        self._looks[name] = self._looks.get(name, 0.0) + 1.0

    def _settle(self) -> None:
        total = np.log(_prior())
        for likelihood in self._marks.values():
            own = np.exp(likelihood - likelihood.max())
            spread = self._spread @ own
            # One mark in some is not what it is charted as, or is gone: it may not drag the rest along.
            total = total + np.log((1.0 - ODD_ONE_OUT) * spread / spread.sum() + ODD_ONE_OUT / len(COMB_DB))
        weights = np.exp(total - total.max())
        self._weights = weights / weights.sum()


def _peak_db(picture: EchoPicture, plot: int, otherwise_db: float) -> float:
    """Return a plot's peak over mean receiver noise by the learnt curve; ``otherwise_db`` where it is not learnt."""
    if picture.db_per_count is None:
        return otherwise_db
    return float(picture.over_noise_db(np.asarray(picture.plots.peak_count[plot], dtype=np.float64)))


def _prior() -> Floats:
    weights = np.exp(-0.5 * (COMB_DB / START_SIGMA_DB) ** 2)
    return np.asarray(weights / weights.sum())
