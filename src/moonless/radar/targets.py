"""What things return: cross-section, height and fluctuation by kind, and the formulas behind reflectors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from moonless.chart.s57.attributes import Attributes
from moonless.chart.types import Mark
from moonless.errors import InputError
from moonless.radar.types import PointTarget, Swerling


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of target.  ``source``: where the figures come from."""

    rcs_m2: float
    height_m: float  # of its radar-effective top above the water
    swerling: Swerling
    source: str


_MEMORY = "from memory, order of magnitude"
_MSC = "MSC.192(79) table 2 heights; cross-section of its footnotes from memory"
KINDS: dict[str, Kind] = {
    "ship over 5000 gt": Kind(50_000.0, 10.0, 1, _MSC),
    "ship over 500 gt": Kind(1_800.0, 5.0, 1, _MSC),
    "small vessel with reflector": Kind(7.5, 4.0, 1, "MSC.164(78): 7.5 m2 at 4 m; MSC.192(79) table 2"),
    "buoy with corner reflector": Kind(10.0, 3.5, 1, _MSC),
    "navigation buoy": Kind(5.0, 3.5, 1, _MSC),
    "10 m vessel": Kind(2.5, 2.0, 1, _MSC),
    "channel marker": Kind(1.0, 1.0, 1, _MSC),
    "beacon": Kind(4.0, 4.0, 1, _MEMORY),
    "beacon with reflector": Kind(15.0, 4.0, 3, _MEMORY),
    "pile": Kind(0.8, 2.5, 1, _MEMORY),
    "stake": Kind(0.1, 1.2, 1, _MEMORY),
    "platform": Kind(500.0, 15.0, 1, _MEMORY),
    "wreck showing": Kind(20.0, 2.0, 1, _MEMORY),
    "rock awash": Kind(1.0, 0.5, 1, _MEMORY),
    "tower or chimney": Kind(300.0, 40.0, 1, _MEMORY),
    "building": Kind(200.0, 12.0, 1, _MEMORY),
    "crane": Kind(300.0, 30.0, 1, _MEMORY),
    "mooring buoy": Kind(0.5, 0.8, 1, _MEMORY),
    "GRP boat": Kind(2.5, 2.0, 1, _MEMORY),
    "sailing yacht": Kind(2.0, 3.0, 1, _MEMORY),
    "cabin cruiser": Kind(10.0, 2.5, 1, _MEMORY),
    "RIB": Kind(2.5, 1.2, 1, "practical measurement of a 4.8 m RIB with a man aboard, G. King, Southampton 1995"),
    "small open boat": Kind(0.5, 0.8, 1, _MEMORY),
    "kayak": Kind(0.3, 0.6, 1, _MEMORY),
    "person in the water": Kind(0.1, 0.2, 1, _MEMORY),
    "pot float": Kind(0.05, 0.3, 1, _MEMORY),
    "drifting log": Kind(0.3, 0.2, 1, _MEMORY),
    "bird": Kind(0.01, 3.0, 1, _MEMORY),
}


def target_of(kind: str, name: str, east_m: float, north_m: float, *, height_m: float | None = None) -> PointTarget:
    """Return a target of a kind at a place; ``height_m``: in place of the kind's.

    Raises InputError for an unknown kind.
    """
    if kind not in KINDS:
        raise InputError(f"{kind!r} is not a kind of target; there are: {', '.join(KINDS)}")
    base = KINDS[kind]
    height = base.height_m if height_m is None else height_m
    return PointTarget(name, east_m, north_m, base.rcs_m2, height, base.swerling)


def ship_rcs_m2(length_m: float, frequency_hz: float) -> float:
    """Return a vessel's mean cross-section from her length.

    Source
    ------
    Skolnik's rule for ships near grazing, 52 f^0.5 D^1.5 (f in MHz, D in thousands of tonnes) above 100 t, with a
    displacement of 0.009 L^3 t; below that 0.025 L^2, a 10 m vessel 2.5 m2 as MSC.192 has it (from memory).
    """
    kilotonnes = 0.009e-3 * length_m**3
    small = 0.025 * length_m**2
    return max(small, 52.0 * math.sqrt(frequency_hz / 1e6) * kilotonnes**1.5) if kilotonnes >= 0.1 else small


def sphere_rcs_m2(radius_m: float) -> float:
    """Return pi a^2, for a sphere much larger than the wavelength."""
    return math.pi * radius_m**2


def plate_rcs_m2(area_m2: float, wavelength_m: float) -> float:
    """Return 4 pi A^2 / lambda^2, for a flat plate met squarely."""
    return 4.0 * math.pi * area_m2**2 / wavelength_m**2


def trihedral_rcs_m2(edge_m: float, wavelength_m: float) -> float:
    """Return 4 pi a^4 / (3 lambda^2), for a corner of three triangles with edge a, looked into along its axis."""
    return 4.0 * math.pi * edge_m**4 / (3.0 * wavelength_m**2)


def square_trihedral_rcs_m2(edge_m: float, wavelength_m: float) -> float:
    """Return 12 pi a^4 / lambda^2, for a corner of three squares with edge a."""
    return 12.0 * math.pi * edge_m**4 / wavelength_m**2


def dihedral_rcs_m2(width_m: float, height_m: float, wavelength_m: float) -> float:
    """Return 8 pi w^2 h^2 / lambda^2, for two plates at right angles."""
    return 8.0 * math.pi * (width_m * height_m) ** 2 / wavelength_m**2


# Which kind a charted object is when nothing more is said of it.
_KIND_OF_OBJECT: dict[str, str] = {
    "PILPNT": "pile",
    "MORFAC": "pile",
    "OFSPLF": "platform",
    "WRECKS": "wreck showing",
    "UWTROC": "rock awash",
    "OBSTRN": "stake",
    "LNDMRK": "tower or chimney",
    "SILTNK": "tower or chimney",
    "BUISGL": "building",
    "CRANES": "crane",
    "DAYMAR": "beacon",
    "LIGHTS": "beacon",
    "LITVES": "ship over 500 gt",
    "LITFLT": "10 m vessel",
    "FSHFAC": "stake",
    "BOYINB": "mooring buoy",
}


def target_of_mark(mark: Mark) -> PointTarget:
    """Return what a charted mark should be to a radar.

    Reflectors and CONRAD decide between kinds; a charted height replaces the kind's, a structure's cross-section grows
    with it.  CONRAD 2 (not conspicuous) quarters, 1 or 3 doubles the cross-section: our own choice, no source.
    """
    if mark.object.startswith("BOY"):
        kind = "mooring buoy" if mark.object == "BOYINB" else "navigation buoy"
        if mark.has_reflector:
            kind = "buoy with corner reflector"
    elif mark.object.startswith("BCN"):
        kind = "beacon with reflector" if mark.has_reflector else "beacon"
        if not mark.has_reflector and _is_stake(mark.attributes):
            kind = "pile"
    else:
        kind = _KIND_OF_OBJECT.get(mark.object, "pile")
    base = KINDS[kind]
    rcs_m2, height_m = base.rcs_m2, base.height_m
    if mark.height_m is not None and mark.height_m > 0.0:
        if not mark.floating and kind in ("tower or chimney", "building", "crane", "platform"):
            rcs_m2 *= max(0.2, mark.height_m / base.height_m)
        height_m = max(0.3, mark.height_m)
    if mark.radar_conspicuous is not None:
        rcs_m2 *= 2.0 if mark.radar_conspicuous else 0.25
    name = mark.name or f"{mark.object} {mark.feature}"
    return PointTarget(name, mark.east_m, mark.north_m, rcs_m2, height_m, base.swerling)


def _is_stake(attributes: Attributes) -> bool:
    # BCNSHP 1: stake, pole, perch, post; 7: pile beacon.
    return str(attributes.get("BCNSHP", "")) in ("1", "1.0", "7", "7.0")


# A hull as five scatterers: (along of half length, across of half beam, share of the cross-section, share of height).
_HULL = (
    (0.92, 0.0, 0.12, 0.5),
    (0.35, 0.8, 0.18, 0.6),
    (0.35, -0.8, 0.18, 0.6),
    (-0.2, 0.0, 0.37, 1.0),
    (-0.92, 0.0, 0.15, 0.6),
)


def scatterers_of(targets: Sequence[PointTarget], east_m: float, north_m: float) -> list[tuple[int, PointTarget]]:
    """Return (index of the target, point) for all; a hull longer than 5 m becomes five points weighed by aspect.

    Aspect: broadside shows 1.6 times, end on 0.4 times the stated cross-section, sine-squared between (from memory, of
    the shape only); the mean over all aspects is the stated value.
    """
    found: list[tuple[int, PointTarget]] = []
    for index, one in enumerate(targets):
        if one.length_m <= 5.0:
            found.append((index, one))
            continue
        to_us = math.atan2(east_m - one.east_m, north_m - one.north_m)
        across = math.sin(to_us - one.heading_rad) ** 2
        aspect = 0.4 + 1.2 * across
        sine, cosine = math.sin(one.heading_rad), math.cos(one.heading_rad)
        for along, side, share, tall in _HULL:
            ahead = along * one.length_m / 2.0
            right = side * one.beam_m / 2.0
            found.append(
                (
                    index,
                    replace(
                        one,
                        east_m=one.east_m + ahead * sine + right * cosine,
                        north_m=one.north_m + ahead * cosine - right * sine,
                        rcs_m2=one.rcs_m2 * aspect * share,
                        height_m=one.height_m * tall,
                        length_m=0.0,
                    ),
                )
            )
    return found
