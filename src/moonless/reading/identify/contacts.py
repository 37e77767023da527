"""Tracks explained, as contacts, each with one plain sentence that names the evidence."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from moonless.chart.s57.names import object_name
from moonless.reading.chart_around import Place
from moonless.reading.contact import Contact
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.reading.types import AisLabel, ChartedAs
from moonless.units import mps_to_kn

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


def why(row: int, evidence: Evidence, told: Explained, place: Place | None) -> str:
    """Return why a track is told as what it is."""
    track = evidence.tracks[row]
    unsure = "" if told.confidence >= 0.6 else " It is not certain."
    if told.kind == "charted" and place is not None and told.mark is not None:
        mark = place.marks[told.mark]
        name = f"{object_name(mark.object)} {mark.name}" if mark.name else object_name(mark.object)
        return f"It stands {told.offset_m:.0f} m from the charted {name}.{unsure}"
    if told.kind == "shore":
        away = evidence.shore_distance_m[row]
        if not math.isfinite(away):
            return f"It is a piece of an echo longer than any hull; no chart covers this water.{unsure}"
        return f"{'It lies on charted land.' if away == 0 else f'It is {away:.0f} m from charted shore.'}{unsure}"
    if told.kind == "bridge":
        return f"It is {evidence.bridge_distance_m[row]:.0f} m from a charted bridge.{unsure}"
    if told.kind == "vessel":
        if track.ais is not None and not track.ais.is_aid:
            return f"AIS says it is {track.ais.name or 'a vessel'}.{unsure}"
        return f"It moves over the ground at {mps_to_kn(track.speed):.0f} knots.{unsure}"
    if told.kind == "clutter":
        return f"It is weak and came {track.n_hits} times in {track.n_scans} turns.{unsure}"
    if told.kind == "false":
        return f"It repeats another echo ({track.false_cause or 'a ghost of it'}).{unsure}"
    if evidence.known.named[row] is not None:
        return f"It does not move, and local knowledge has it: {evidence.known.named[row]}.{unsure}"
    if place is None:
        return f"It does not move, and no chart covers this water.{unsure}"
    return f"It does not move, and the chart has nothing within its error of {evidence.sigma_m[row]:.0f} m.{unsure}"
