"""What the listener hears, in the form the set-up screen draws: a snapshot that is whole, and the small fans."""

from __future__ import annotations

import numpy as np

from moonless.helm.bodies.setup import HeardBody, OfferHeardBody, PlaceHeardBody, RadarHeardBody
from moonless.helm.web.protocol import FanFrame
from moonless.units import NS_PER_S
from moonless.watch.instruments.source_priority import (
    CHOOSABLE,
    FOLLOWED,
    WORDS,
    Preferred,
    SentenceSource,
    choose_sources,
)
from moonless.watch.link_survey.discovery import LinkDiscovery, ListenedLink
from moonless.watch.link_survey.radar_content import FAN_CELLS, FAN_ROWS

SILENT_S = 6.0  # as long as a source counts as there (`GONE_ELSE_S` of `source_priority`)
# In tenths of a second; older rows are told as this old.
_OLDEST = 255


def heard_body(discovery: LinkDiscovery, preferred: Preferred, now_ns: int) -> HeardBody:
    """Return the whole of what is heard now: places, what each thing is taken from, what is silent."""
    places = sorted(discovery.links.values(), key=_order)
    shown = [_place_body(place, now_ns) for place in places if _is_shown(place)]
    quiet = [p for p in places if not _is_shown(p)]
    sources = [source for place in places for source in place.content.sources]
    return {
        "places": shown,
        "things": [
            {
                "what": choice.what,
                "words": WORDS[choice.what],
                "taken": _source_body(choice.taken, now_ns),
                "others": [_source_body(source, now_ns) for source in choice.waiting],
                "why": choice.why,
                "is_conflict": choice.is_conflict and choice.what in FOLLOWED,
                "can_choose": choice.what in CHOOSABLE,
            }
            for choice in choose_sources(sources, preferred, now_ns)
        ],
        "quiet_ports": sorted({_port(p) for p in quiet if p.kind == "udp" and p.state == "listening"}),
    }


def fans_of(discovery: LinkDiscovery, now_ns: int) -> list[FanFrame]:
    """Return the small fan of each place that carries radar video, numbered as the places of `heard_body` are."""
    fans = []
    shown = [place for place in sorted(discovery.links.values(), key=_order) if _is_shown(place)]
    for number, place in enumerate(shown):
        radar = place.content.radar
        if not radar.spokes:
            continue
        age = np.where(radar.fan_ns > 0, (now_ns - radar.fan_ns) // (NS_PER_S // 10), _OLDEST)
        range_m, tenths = float(np.nan_to_num(radar.range_m)), np.clip(age, 0, _OLDEST).astype(np.uint8)
        fans.append(FanFrame(number, FAN_ROWS, FAN_CELLS, radar.newest_row, range_m, tenths, radar.fan.copy()))
    return fans


def place_of_boat(discovery: LinkDiscovery) -> tuple[float, float] | None:
    """Return a position that is heard; None where none is."""
    for place in discovery.links.values():
        if place.content.place is not None:
            return place.content.place
    return None


def _order(place: ListenedLink) -> tuple[int, str]:
    # What was heard first stands first, so that rows do not move under a finger.
    first = place.content.first_ns
    return (1 << 62 if first is None else first, place.link)


def _is_shown(place: ListenedLink) -> bool:
    return (
        place.content.n_byte > 0
        or place.by_hand
        or place.kind == "serial"
        or place.state == "in use"
        or (place.state == "lost" and place.kind != "udp")
    )


def _port(place: ListenedLink) -> int:
    return int(place.link.rpartition(":")[2])


def _place_body(place: ListenedLink, now_ns: int) -> PlaceHeardBody:
    content = place.content
    age = None if content.last_ns is None else round((now_ns - content.last_ns) / NS_PER_S, 1)
    return {
        "link": place.link,
        "kind": place.kind,
        "state": place.state,
        "line": place.line,
        "said": place.said,
        "by_hand": place.by_hand,
        "carries": content.kind,
        "words": content.words(),
        "age_s": age,
        "is_silent": age is not None and age > SILENT_S,
        "bytes": content.n_byte,
        "sentences": [
            {
                "address": address,
                "count": one.count,
                "per_s": None if one.per_s is None else round(one.per_s, 1),
                "age_s": round((now_ns - one.last_ns) / NS_PER_S, 1),
            }
            for address, one in sorted(content.sentences.items())
        ],
        "ticker": [{"number": number, "text": text} for number, _, text in content.ticker],
        "bad": content.bad_checksums,
        "no_fix": content.no_fix_ns is not None and now_ns - content.no_fix_ns < SILENT_S * NS_PER_S,
        "vessels": len(content.vessels),
        "radar": _radar_body(place, now_ns),
        "values": [f"{WORDS[o.what]} {o.value}" for o in content.sources if o.value and o.is_there(now_ns)],
    }


def _radar_body(place: ListenedLink, now_ns: int) -> RadarHeardBody | None:
    radar = place.content.radar
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


def _source_body(source: SentenceSource, now_ns: int) -> OfferHeardBody:
    return {
        "link": source.link,
        "talker": source.talker,
        "kind": source.kind,
        "value": source.value,
        "age_s": round((now_ns - source.last_ns) / NS_PER_S, 1),
    }
