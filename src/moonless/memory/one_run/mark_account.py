"""Charted marks over one run: told, told as missing, and how far from where the chart has them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from moonless.frames import LocalFrame
from moonless.memory.summary import MarkSeen
from moonless.reading.line import ReadingLine

# Nearer than this an echo's place is no better.
_NEAR_M = 50.0


@dataclass(slots=True)
class _Account:
    object: str
    name: str | None
    frame: LocalFrame  # about where it was first told, or is charted
    told: int = 0
    missed: int = 0
    looks: int = 0
    p_if_there: float = 0.0
    # Sums over the turns it was told in, near ones counting more: two beacons of a gate are one echo from far off.
    weight: float = 0.0
    east: float = 0.0
    north: float = 0.0
    offset: float = 0.0


class MarkAccounts:
    """Takes in readings; keeps an account of each mark that is named in them, by cell and feature or by its place."""

    def __init__(self) -> None:
        self._accounts: dict[tuple[str, str], _Account] = {}
        # Readings name a missing mark by object, name and place; a told one by cell and feature.
        self._named: dict[tuple[str, str | None, float, float], _Account] = {}

    def add(self, line: ReadingLine) -> None:
        """Take in one turn."""
        for echo in line["echoes"]:
            charted = echo["charted_as"]
            if charted is None or echo["is"] != "charted":
                continue
            key = (charted["cell"], charted["feature"])
            account = self._accounts.get(key)
            if account is None:
                frame = LocalFrame(echo["lat"], echo["lon"])
                account = self._accounts[key] = _Account(charted["object"], charted["name"], frame)
            east, north = account.frame.to_plane(echo["lat"], echo["lon"])
            weight = 1.0 / max(float(echo["range_m"]), _NEAR_M) ** 2
            account.told += 1
            account.weight += weight
            account.east += weight * east
            account.north += weight * north
            account.offset += weight * charted["offset_m"]
        for mark in line["missing"]:
            named = (mark["object"], mark["name"], round(mark["lat"], 6), round(mark["lon"], 6))
            account = self._named.get(named)
            if account is None:
                frame = LocalFrame(mark["lat"], mark["lon"])
                account = self._named[named] = _Account(mark["object"], mark["name"], frame)
            account.missed += 1
            account.looks = max(account.looks, mark["scans_looked"])
            account.p_if_there = max(account.p_if_there, mark["p_seen_if_there"])

    def seen(self) -> tuple[MarkSeen, ...]:
        """Return the accounts, in order of name and place."""
        out = []
        for (cell, feature), a in self._accounts.items():
            lat, lon = a.frame.to_geographic(a.east / a.weight, a.north / a.weight)
            reach = math.sqrt(a.told / a.weight)
            out.append(_mark(a, cell, feature, lat, lon, round(a.offset / a.weight, 1), round(reach, 1)))
        out += [_mark(a, "", "", a.frame.lat_deg, a.frame.lon_deg, None, None) for a in self._named.values()]
        return tuple(sorted(out, key=lambda m: (m.object, m.name or "", m.cell, m.feature, m.lat_deg, m.lon_deg)))


def _mark(
    a: _Account, cell: str, feature: str, lat: float, lon: float, offset_m: float | None, range_m: float | None
) -> MarkSeen:
    return MarkSeen(
        a.object, a.name, cell, feature, round(lat, 7), round(lon, 7), a.told, a.missed, a.looks,
        round(a.p_if_there, 4), offset_m, range_m,
    )  # fmt: skip
