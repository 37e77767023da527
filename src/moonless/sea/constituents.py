"""The tidal constituents: their arguments and node factors, by Schureman.

Source for the whole file: [Schureman] P. Schureman, Manual of Harmonic Analysis and Prediction of Tides, US Coast and
Geodetic Survey Special Publication 98 (1940, repr. 1958); equation numbers beside each line, arguments from its
table 2.  The mean longitudes are the modern ones of J. Meeus, Astronomical Algorithms, 2nd ed. (1998), ch. 22, 25, 47.
NOAA's constants go with Schureman's forms: the newer IHO forms move heights by a few centimetres.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

J2000_UNIX_S = 946_728_000.0  # 2000-01-01 12:00 UTC
CENTURY_S = 36_525.0 * 86_400.0  # a Julian century
# Inclination of the moon's orbit to the ecliptic: [Schureman] table 1.
MOON_ORBIT_INCLINATION_RAD = math.radians(5.145)


@dataclass(frozen=True, slots=True)
class Astronomy:
    """Mean longitudes and the orbit's angles at some times; every field shape (n,), radians."""

    hour: Floats  # T: hour angle of the mean sun, 180 degrees at midnight UTC
    moon: Floats  # s
    sun: Floats  # h
    moon_perigee: Floats  # p
    sun_perigee: Floats  # p1
    inclination: Floats  # I, of the moon's orbit to the equator
    xi: Floats
    nu: Floats
    nu_prime: Floats
    nu_second: Floats  # 2 nu''

    @property
    def perigee_from_node(self) -> Floats:
        """P, [Schureman] eq. 191: the perigee reckoned from the moon's intersection with the equator."""
        return self.moon_perigee - self.xi


def astronomy(time_s: ArrayLike) -> Astronomy:
    """Return the astronomical arguments at Unix times (UTC taken for dynamical time: 70 s move nothing here)."""
    unix = np.atleast_1d(np.asarray(time_s, dtype=np.float64))
    t = (unix - J2000_UNIX_S) / CENTURY_S

    def longitude(*coefficients_deg: float) -> Floats:
        return np.radians(np.mod(np.polynomial.polynomial.polyval(t, coefficients_deg), 360.0))

    # [Meeus] 47.1, 25.2, 47.7, 47.4 + table; solar perigee 282.93735 + 1.71946 t (25.4 less 25.2 at first order).
    moon = longitude(218.3164477, 481_267.88123421, -0.0015786, 1.0 / 538_841.0)
    sun = longitude(280.46646, 36_000.76983, 0.0003032)
    moon_perigee = longitude(83.3532465, 4_069.0137287, -0.0103200, -1.0 / 80_053.0)
    node = longitude(125.04452, -1_934.136261, 0.0020708, 1.0 / 450_000.0)
    sun_perigee = longitude(282.93735, 1.71946, 0.00046)
    obliquity = np.radians(23.4392911 - 0.0130042 * t)  # [Meeus] 22.2
    i = MOON_ORBIT_INCLINATION_RAD
    # [Schureman] eq. 3 of the spherical triangle on page 156: I from the node.
    inclination = np.arccos(np.cos(i) * np.cos(obliquity) - math.sin(i) * np.sin(obliquity) * np.cos(node))
    half_sum, half_difference, half_node = 0.5 * (obliquity + i), 0.5 * (obliquity - i), 0.5 * node
    sin_node, cos_node = np.sin(half_node), np.cos(half_node)
    # Napier's analogies for that triangle.
    plus = np.arctan2(np.cos(half_difference) * sin_node, np.cos(half_sum) * cos_node) - half_node
    minus = np.arctan2(np.sin(half_difference) * sin_node, np.sin(half_sum) * cos_node) - half_node
    xi, nu = -(plus + minus), plus - minus
    xi = np.mod(xi + math.pi, 2 * math.pi) - math.pi
    nu = np.mod(nu + math.pi, 2 * math.pi) - math.pi
    two_i = np.sin(2 * inclination)
    sin_sq = np.sin(inclination) ** 2
    return Astronomy(
        hour=np.radians(np.mod(unix, 86_400.0) / 240.0 + 180.0),
        moon=moon,
        sun=sun,
        moon_perigee=moon_perigee,
        sun_perigee=sun_perigee,
        inclination=inclination,
        xi=xi,
        nu=nu,
        nu_prime=np.arctan2(two_i * np.sin(nu), two_i * np.cos(nu) + 0.3347),  # eq. 224
        nu_second=np.arctan2(sin_sq * np.sin(2 * nu), sin_sq * np.cos(2 * nu) + 0.0727),  # eq. 232
    )


# ---- node factors f, [Schureman] eq. 65 to 235, each over its mean ------------------------------------------------


def _f_mm(a: Astronomy) -> Floats:
    return (2.0 / 3.0 - np.sin(a.inclination) ** 2) / 0.5021  # eq. 73


def _f_mf(a: Astronomy) -> Floats:
    return np.sin(a.inclination) ** 2 / 0.1578  # eq. 74


def _f_o1(a: Astronomy) -> Floats:
    return np.asarray(np.sin(a.inclination) * np.cos(a.inclination / 2) ** 2 / 0.3800)  # eq. 75


def _f_j1(a: Astronomy) -> Floats:
    return np.asarray(np.sin(2 * a.inclination) / 0.7214)  # eq. 76


def _f_oo1(a: Astronomy) -> Floats:
    return np.asarray(np.sin(a.inclination) * np.sin(a.inclination / 2) ** 2 / 0.0164)  # eq. 77


def _f_m2(a: Astronomy) -> Floats:
    return np.cos(a.inclination / 2) ** 4 / 0.9154  # eq. 78


def _f_m3(a: Astronomy) -> Floats:
    return np.cos(a.inclination / 2) ** 6 / 0.8758  # eq. 149


def _f_k1(a: Astronomy) -> Floats:
    two_i = np.sin(2 * a.inclination)
    return np.sqrt(0.8965 * two_i**2 + 0.6001 * two_i * np.cos(a.nu) + 0.1006)  # eq. 227


def _f_k2(a: Astronomy) -> Floats:
    sin_sq = np.sin(a.inclination) ** 2
    return np.sqrt(19.0444 * sin_sq**2 + 2.7702 * sin_sq * np.cos(2 * a.nu) + 0.0981)  # eq. 235


def _f_l2(a: Astronomy) -> Floats:
    tan_sq = np.tan(a.inclination / 2) ** 2
    inverse_ra = np.sqrt(1.0 - 12.0 * tan_sq * np.cos(2 * a.perigee_from_node) + 36.0 * tan_sq**2)  # eq. 213
    return _f_m2(a) * inverse_ra  # eq. 215


def _f_m1(a: Astronomy) -> Floats:
    inverse_qa = np.sqrt(2.310 + 1.435 * np.cos(2 * a.perigee_from_node))  # eq. 197
    return _f_o1(a) * inverse_qa  # eq. 207


def _one(a: Astronomy) -> Floats:
    return np.ones_like(a.moon)


# ---- node angles u -----------------------------------------------------------------------------------------------


def _u_m2(a: Astronomy) -> Floats:
    return 2 * a.xi - 2 * a.nu


def _u_o1(a: Astronomy) -> Floats:
    return 2 * a.xi - a.nu


def _u_k1(a: Astronomy) -> Floats:
    return -a.nu_prime


def _u_k2(a: Astronomy) -> Floats:
    return -a.nu_second


def _u_j1(a: Astronomy) -> Floats:
    return -a.nu


def _u_oo1(a: Astronomy) -> Floats:
    return -2 * a.xi - a.nu


def _u_mf(a: Astronomy) -> Floats:
    return -2 * a.xi


def _u_m3(a: Astronomy) -> Floats:
    return 3 * a.xi - 3 * a.nu


def _u_l2(a: Astronomy) -> Floats:
    two_p = 2 * a.perigee_from_node
    r = np.arctan2(np.sin(two_p), 1.0 / (6.0 * np.tan(a.inclination / 2) ** 2) - np.cos(two_p))  # eq. 214
    return _u_m2(a) - r


def _u_m1(a: Astronomy) -> Floats:
    p = a.perigee_from_node
    q = np.arctan2(0.483 * np.sin(p), np.cos(p))  # eq. 203, with the mean I that table 10 uses
    return -a.nu - (p - q)  # eq. 204: Q_u = P - Q


def _zero(a: Astronomy) -> Floats:
    return np.zeros_like(a.moon)


Term = Callable[[Astronomy], Floats]


@dataclass(frozen=True, slots=True)
class Constituent:
    """One constituent: multiples of (T, s, h, p, p1) and a constant, with its node factor and angle."""

    name: str
    multiples: tuple[int, int, int, int, int]
    constant_deg: float
    factor: Term
    angle: Term

    def argument(self, a: Astronomy) -> Floats:
        """Return V + u, radians."""
        t, s, h, p, p1 = self.multiples
        v = t * a.hour + s * a.moon + h * a.sun + p * a.moon_perigee + p1 * a.sun_perigee
        return v + math.radians(self.constant_deg) + self.angle(a)


def _compound(name: str, parts: tuple[tuple[str, int], ...]) -> Constituent:
    """Return the shallow-water constituent whose argument is the sum of its parts'; f is the product of theirs."""
    sums = [0, 0, 0, 0, 0]
    constant = 0.0
    for part, times in parts:
        for k in range(5):
            sums[k] += times * CONSTITUENTS[part].multiples[k]
        constant += times * CONSTITUENTS[part].constant_deg

    def factor(a: Astronomy) -> Floats:
        out = np.ones_like(a.moon)
        for part, times in parts:
            out = out * CONSTITUENTS[part].factor(a) ** abs(times)
        return out

    def angle(a: Astronomy) -> Floats:
        out = np.zeros_like(a.moon)
        for part, times in parts:
            out = out + times * CONSTITUENTS[part].angle(a)
        return out

    return Constituent(name, (sums[0], sums[1], sums[2], sums[3], sums[4]), constant, factor, angle)


# [Schureman] table 2, pages 164 to 167; NOAA's names.
CONSTITUENTS: dict[str, Constituent] = {
    c.name: c
    for c in (
        Constituent("SA", (0, 0, 1, 0, 0), 0, _one, _zero),
        Constituent("SSA", (0, 0, 2, 0, 0), 0, _one, _zero),
        Constituent("MM", (0, 1, 0, -1, 0), 0, _f_mm, _zero),
        Constituent("MSF", (0, 2, -2, 0, 0), 0, _f_mm, _zero),
        Constituent("MF", (0, 2, 0, 0, 0), 0, _f_mf, _u_mf),
        Constituent("K1", (1, 0, 1, 0, 0), -90, _f_k1, _u_k1),
        Constituent("O1", (1, -2, 1, 0, 0), 90, _f_o1, _u_o1),
        Constituent("P1", (1, 0, -1, 0, 0), 90, _one, _zero),
        Constituent("Q1", (1, -3, 1, 1, 0), 90, _f_o1, _u_o1),
        Constituent("2Q1", (1, -4, 1, 2, 0), 90, _f_o1, _u_o1),
        Constituent("RHO", (1, -3, 3, -1, 0), 90, _f_o1, _u_o1),
        Constituent("M1", (1, -1, 1, 1, 0), -90, _f_m1, _u_m1),
        Constituent("J1", (1, 1, 1, -1, 0), -90, _f_j1, _u_j1),
        Constituent("OO1", (1, 2, 1, 0, 0), -90, _f_oo1, _u_oo1),
        Constituent("S1", (1, 0, 0, 0, 0), 0, _one, _zero),
        Constituent("M2", (2, -2, 2, 0, 0), 0, _f_m2, _u_m2),
        Constituent("S2", (2, 0, 0, 0, 0), 0, _one, _zero),
        Constituent("N2", (2, -3, 2, 1, 0), 0, _f_m2, _u_m2),
        Constituent("2N2", (2, -4, 2, 2, 0), 0, _f_m2, _u_m2),
        Constituent("NU2", (2, -3, 4, -1, 0), 0, _f_m2, _u_m2),
        Constituent("MU2", (2, -4, 4, 0, 0), 0, _f_m2, _u_m2),
        Constituent("LAM2", (2, -1, 0, 1, 0), 180, _f_m2, _u_m2),
        Constituent("L2", (2, -1, 2, -1, 0), 180, _f_l2, _u_l2),
        Constituent("T2", (2, 0, -1, 0, 1), 0, _one, _zero),
        Constituent("R2", (2, 0, 1, 0, -1), 180, _one, _zero),
        Constituent("K2", (2, 0, 2, 0, 0), 0, _f_k2, _u_k2),
        Constituent("M3", (3, -3, 3, 0, 0), 0, _f_m3, _u_m3),
    )
}
for _name, _parts in (
    ("2SM2", (("S2", 2), ("M2", -1))),
    ("MK3", (("M2", 1), ("K1", 1))),
    ("2MK3", (("M2", 2), ("K1", -1))),
    ("M4", (("M2", 2),)),
    ("MN4", (("M2", 1), ("N2", 1))),
    ("MS4", (("M2", 1), ("S2", 1))),
    ("S4", (("S2", 2),)),
    ("M6", (("M2", 3),)),
    ("S6", (("S2", 3),)),
    ("M8", (("M2", 4),)),
):
    CONSTITUENTS[_name] = _compound(_name, _parts)
