"""Tracks explained, as contacts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from moonless.reading.chart_around import Place
from moonless.reading.contact import Contact
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.identify.reasons import why
from moonless.reading.types import AisLabel, ChartedAs

Floats = NDArray[np.float64]


def contacts_of(evidence: Evidence, explained: list[Explained], place: Place | None) -> tuple[Contact, ...]:
    """Return the contacts of one turn, in the order of the evidence."""
    moves = evidence.p_moving > 0.5
    covariance = _covariance(evidence, moves)
    out = []
    for i, told in enumerate(explained):
        track = evidence.tracks[i]
        charted = None
        if told.mark is not None and place is not None:
            mark = place.marks[told.mark]
            charted = ChartedAs(mark.object, mark.name, mark.cell, mark.feature, float(told.offset_m or 0.0))
        out.append(
            Contact(
                id=track.id,
                position_en=(float(evidence.position_en[i, 0]), float(evidence.position_en[i, 1])),
                velocity_en=(float(track.velocity_east), float(track.velocity_north)) if moves[i] else (0.0, 0.0),
                covariance=covariance[i],
                range_m=float(evidence.range_m[i]),
                bearing_rad=float(evidence.bearing_rad[i]),
                moves=bool(moves[i]),
                kind=told.kind,
                confidence=min(1.0, max(0.0, told.confidence)),
                p_moving=min(1.0, max(0.0, float(evidence.p_moving[i]))),
                length_m=track.length_m,
                charted_as=charted,
                ais=None if track.ais is None else AisLabel(track.ais.mmsi, track.ais.name),
                nav_status=None if track.ais is None else track.ais.nav_status,
                why=why(i, evidence, told, place),
                is_coasting=track.state == "coasting",
                n_hits=track.n_hits,
            )
        )
    return tuple(out)


def _covariance(evidence: Evidence, moves: NDArray[np.bool_]) -> Floats:
    """Return (n, 4, 4) of place and motion; what is told as still has no motion of its own."""
    out = np.zeros((len(evidence.tracks), 4, 4))
    if not len(out):
        return out
    out[:, :2, :2] = evidence.covariance
    full = np.array([t.covariance for t in evidence.tracks])
    out[moves, 2:, 2:] = full[moves, 2:, 2:]
    out[moves, :2, 2:] = full[moves, :2, 2:]
    out[moves, 2:, :2] = full[moves, 2:, :2]
    return out
