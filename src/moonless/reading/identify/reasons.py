"""One plain sentence that names the evidence."""

from __future__ import annotations

import math

from moonless.chart.s57.names import object_name
from moonless.reading.chart_around import Place
from moonless.reading.identify.evidence import Evidence
from moonless.reading.identify.explain import Explained
from moonless.units import mps_to_kn


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
    if evidence.named[row] is not None:
        return f"It does not move, and local knowledge has it: {evidence.named[row]}.{unsure}"
    if place is None:
        return f"It does not move, and no chart covers this water.{unsure}"
    return f"It does not move, and the chart has nothing within its error of {evidence.sigma_m[row]:.0f} m.{unsure}"
