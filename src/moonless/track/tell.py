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
    out = []
    for i in range(len(bank)):
        state: TrackState = "tentative"
        if bank.confirmed[i]:
            state = "coasting" if bank.misses[i] >= s.coast_after else "confirmed"
        hull = bool(resolved[i])
        lies = hull and length[i] >= LONG_FOR_HEADING * beam[i]
        heading = None
        if lies and p_moving[i] > 0.5:
            along = math.sin(angle[i]) * mean[i, 2] + math.cos(angle[i]) * mean[i, 3]
            heading = float(angle[i]) if along >= 0.0 else float(angle[i]) + math.pi
        name = int(bank.id[i])
        is_false = bank.false_votes[i] > 0.5
        parent = int(bank.false_parent[i])
        out.append(
            Track(
                id=name, state=state, time_ns=now_ns, east_m=float(mean[i, 0]), north_m=float(mean[i, 1]),
                velocity_east=float(mean[i, 2]), velocity_north=float(mean[i, 3]),
                covariance=cov[i, :4, :4].copy(), p_exists=float(bank.exists[i]), p_moving=float(p_moving[i]),
                turn_rate=float(mean[i, 4]), turn_rate_sigma=math.sqrt(max(float(cov[i, 4, 4]), 0.0)),
                length_m=float(length[i]) if hull else None,
                length_sigma_m=float(length_sigma[i]) if hull else None,
                beam_m=float(beam[i]) if hull else None,
                orientation_rad=float(angle[i]) if lies else None,
                # A long side known to sigma turns the axis by sigma over half its length.
                orientation_sigma_rad=float(min(length_sigma[i] / (0.5 * length[i]), 0.9)) if lies else None,
                hull_heading_rad=heading, strength_db=float(bank.strength_db[i]),
                started_ns=int(bank.started_ns[i]), last_plot_ns=int(bank.last_plot_ns[i]),
                n_scans=int(bank.n_scans[i]), n_hits=int(bank.n_hits[i]), misses_in_a_row=int(bank.misses[i]),
                last_plot=int(bank.last_plot[i]) if bank.last_plot[i] >= 0 else None,
                false_parent=parent if is_false and parent >= 0 else None,
                false_cause=str(bank.false_cause[i]) if is_false and bank.false_cause[i] else None,
                ais=ais.get(name), other_radar=others.get(name),
            )
        )  # fmt: skip
    return tuple(out)
