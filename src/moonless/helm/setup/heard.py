"""What the listener hears, in the form the set-up screen draws: a snapshot that is whole, and the small fans."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from moonless.helm.web.protocol import FanFrame
from moonless.units import NS_PER_S
from moonless.watch.instruments.source_priority import CHOOSABLE, FOLLOWED, WORDS, Offer, Preferred, weigh
from moonless.watch.link_survey.content import FAN_CELLS, FAN_ROWS
from moonless.watch.link_survey.discovery import Finder, Place

SILENT_S = 6.0
# In tenths of a second; older rows are told as this old.
_OLDEST = 255


def heard_body(finder: Finder, preferred: Preferred, now_ns: int) -> dict[str, Any]:
    """Return the whole of what is heard now: places, what each thing is taken from, what is silent."""
    places = sorted(finder.places.values(), key=_order)
    told = [_place_body(place, now_ns) for place in places if _is_told(place)]
    quiet = [p for p in places if not _is_told(p)]
    offers = [offer for place in places for offer in place.ear.offers]
    return {
        "places": told,
        "things": [
            {
                "what": taken.what,
                "words": WORDS[taken.what],
                "taken": _offer_body(taken.taken, now_ns),
                "others": [_offer_body(offer, now_ns) for offer in taken.waiting],
                "why": taken.why,
                "is_conflict": taken.is_conflict and taken.what in FOLLOWED,
                "can_choose": taken.what in CHOOSABLE,
            }
            for taken in weigh(offers, preferred, now_ns)
        ],
        "quiet_ports": sorted({_port(p) for p in quiet if p.kind == "udp" and p.state == "listening"}),
    }


def fans_of(finder: Finder, now_ns: int) -> list[FanFrame]:
    """Return the small fan of each place that carries radar video, numbered as the places of `heard_body` are."""
    fans = []
    told = [place for place in sorted(finder.places.values(), key=_order) if _is_told(place)]
    for number, place in enumerate(told):
        radar = place.ear.radar
        if not radar.spokes:
            continue
        age = np.where(radar.fan_ns > 0, (now_ns - radar.fan_ns) // (NS_PER_S // 10), _OLDEST)
        range_m, tenths = float(np.nan_to_num(radar.range_m)), np.clip(age, 0, _OLDEST).astype(np.uint8)
        fans.append(FanFrame(number, FAN_ROWS, FAN_CELLS, radar.newest_row, range_m, tenths, radar.fan.copy()))
    return fans


def place_of_boat(finder: Finder) -> tuple[float, float] | None:
    """Return a position that is heard; None where none is."""
    for place in finder.places.values():
        if place.ear.place is not None:
            return place.ear.place
    return None


def _order(place: Place) -> tuple[int, str]:
    # What was heard first stands first, so that rows do not move under a finger.
    first = place.ear.first_ns
    return (1 << 62 if first is None else first, place.link)


def _is_told(place: Place) -> bool:
    return (
        place.ear.n_byte > 0
        or place.by_hand
        or place.kind == "serial"
        or place.state == "in use"
        or (place.state == "lost" and place.kind != "udp")
    )


def _port(place: Place) -> int:
    return int(place.link.rpartition(":")[2])


def _place_body(place: Place, now_ns: int) -> dict[str, Any]:
    ear = place.ear
    age = None if ear.last_ns is None else round((now_ns - ear.last_ns) / NS_PER_S, 1)
    return {
        "link": place.link,
        "kind": place.kind,
        "state": place.state,
        "line": place.line,
        "said": place.said,
        "by_hand": place.by_hand,
        "carries": ear.kind,
        "words": ear.words(),
        "age_s": age,
        "is_silent": age is not None and age > SILENT_S,
        "bytes": ear.n_byte,
        "sentences": [
            {
                "address": address,
                "count": one.count,
                "per_s": None if one.per_s is None else round(one.per_s, 1),
                "age_s": round((now_ns - one.last_ns) / NS_PER_S, 1),
            }
            for address, one in sorted(ear.sentences.items())
        ],
        "ticker": [{"number": number, "text": text} for number, _, text in ear.ticker],
        "bad": ear.bad_checksums,
        "no_fix": ear.no_fix_ns is not None and now_ns - ear.no_fix_ns < SILENT_S * NS_PER_S,
        "vessels": len(ear.vessels),
        "radar": _radar_body(place, now_ns),
        "values": [f"{WORDS[o.what]} {o.value}" for o in ear.offers if o.value and o.is_there(now_ns)],
    }


def _radar_body(place: Place, now_ns: int) -> Mapping[str, Any] | None:
    radar = place.ear.radar
    if not radar.spokes:
        return None
    turns = radar.turns_per_min
    return {
        "spokes": radar.spokes,
        "spokes_per_s": round(radar.spokes_per_s(now_ns)),
        "spokes_per_turn": radar.spokes_per_turn,
        "cells": radar.n_cell,
        "cell_m": round(radar.cell_m, 2),
        "range_m": round(radar.range_m),
        "bits": radar.bits,
        "turns_per_min": None if turns is None else round(turns, 1),
        "radars": len(radar.sources),
        "has_time": radar.has_time,
    }


def _offer_body(offer: Offer, now_ns: int) -> dict[str, Any]:
    return {
        "link": offer.link,
        "talker": offer.talker,
        "kind": offer.kind,
        "value": offer.value,
        "age_s": round((now_ns - offer.last_ns) / NS_PER_S, 1),
    }
