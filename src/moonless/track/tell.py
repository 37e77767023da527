"""The bank of arrays as tracks to be read by others."""

from __future__ import annotations

import math

import numpy as np

from moonless.track import _kernels as kernels
from moonless.track.bank import Bank
from moonless.track.hulls import axes
from moonless.track.settings import TrackerSettings
from moonless.track.types import AisTarget, RadarTarget, Track, TrackState

# A hull whose long axis is this many times her breadth shows which way she lies.
LONG_FOR_HEADING = 1.8
# Below this an extent is the detector's grain, not a hull.
RESOLVED_M = 8.0


def tell(
    bank: Bank, now_ns: int, s: TrackerSettings, ais: dict[int, AisTarget], others: dict[int, RadarTarget]
) -> tuple[Track, ...]:
    """Return one `Track` for each row of the bank."""
    mean, cov = bank.mean(s.models.told_floor)
    p_moving = 1.0 - bank.mu[:, kernels.STILL]
    length, beam, angle = axes(bank.shape)
    # Scatter of the squared size gives that of the size: d(L^2) = 2 L dL.
    scatter = np.sqrt(np.maximum(bank.shape_sq - length**4, 0.0)) / np.maximum(2.0 * length, 1e-9)
    turns = np.maximum(np.minimum(bank.shape_weight, 10.0), 1.0)
    length_sigma = np.maximum(scatter, 0.1 * length) / np.sqrt(turns) + 2.0
    resolved = (bank.shape_weight >= 2.0) & (length >= RESOLVED_M)
    long = resolved & (length >= LONG_FOR_HEADING * beam)
    along = np.sin(angle) * mean[:, 2] + np.cos(angle) * mean[:, 3]
    heading = np.where(along >= 0.0, angle, angle + math.pi)
    has_heading = (long & (p_moving > 0.5)).tolist()
    # A long side known to sigma turns the axis by sigma over half its length.
    angle_sigma = np.minimum(length_sigma / np.maximum(0.5 * length, 1e-9), 0.9)
    is_false = bank.false_votes > 0.5
    states: list[TrackState] = [
        "tentative" if not c else "coasting" if m >= s.coast_after else "confirmed"
        for c, m in zip(bank.confirmed.tolist(), bank.misses.tolist(), strict=True)
    ]
    # Whole columns as Python numbers at once: one by one they would cost more than the filter.
    columns = zip(
        bank.id.tolist(), states, mean[:, :5].tolist(), np.ascontiguousarray(cov[:, :4, :4]), bank.exists.tolist(),
        p_moving.tolist(), np.sqrt(np.maximum(cov[:, 4, 4], 0.0)).tolist(), resolved.tolist(), length.tolist(),
        length_sigma.tolist(), beam.tolist(), long.tolist(), angle.tolist(), angle_sigma.tolist(), has_heading,
        heading.tolist(), bank.strength_db.tolist(), bank.started_ns.tolist(), bank.last_plot_ns.tolist(),
        bank.n_scans.tolist(), bank.n_hits.tolist(), bank.misses.tolist(), bank.last_plot.tolist(), is_false.tolist(),
        bank.false_parent.tolist(), bank.false_cause.tolist(), strict=True,
    )  # fmt: skip
    return tuple(
        Track(
            id=name, state=state, time_ns=now_ns, east_m=m[0], north_m=m[1], velocity_east=m[2], velocity_north=m[3],
            covariance=c, p_exists=exists, p_moving=moving, turn_rate=m[4], turn_rate_sigma=turn_sigma,
            length_m=size if hull else None, length_sigma_m=size_sigma if hull else None, beam_m=wide if hull else None,
            orientation_rad=axis if lies else None, orientation_sigma_rad=axis_sigma if lies else None,
            hull_heading_rad=towards if heads else None, strength_db=strength, started_ns=started,
            last_plot_ns=last_ns, n_scans=scans, n_hits=hits, misses_in_a_row=misses,
            last_plot=plot if plot >= 0 else None,
            false_parent=parent if false and parent >= 0 else None,
            false_cause=str(cause) if false and cause else None,
            ais=ais.get(name), other_radar=others.get(name),
        )
        for (
            name, state, m, c, exists, moving, turn_sigma, hull, size, size_sigma, wide, lies, axis, axis_sigma, heads,
            towards, strength, started, last_ns, scans, hits, misses, plot, false, parent, cause,
        ) in columns
    )  # fmt: skip
