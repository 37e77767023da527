"""Hidden water, scored: what is told hidden against what is, by area; boats hidden where nothing is told hidden."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import numpy as np
import shapely

from bench.scenes.stage import Stage, StageTurn
from bench.scenes.truth import Laid
from moonless.reading.types import Reading
from moonless.scene.truth import ObjectTruth
from moonless.scene.wild.truth import WildWater

# A boat is hidden when so many cells about her are too: the edge of a shadow is no sharper.
EDGE_CELLS = 1


class HiddenScore:
    """Gathers one scene; areas are in cells weighted by their range."""

    def __init__(self, stage: Stage) -> None:
        self.both = self.either = self.true = 0.0
        self.boats = self.boats_in_seen = 0
        self.open_water = self.open_told_hidden = 0.0
        self._stage = stage

    def add(self, turn: StageTurn, reading: Reading, laid: Laid) -> None:
        """Take in one turn's reading."""
        if reading.hidden is None:
            return
        frame, shift = self._stage.frame, self._stage.shift_m
        shapes: dict[str, list[Any]] = defaultdict(list)
        for feature in reading.hidden["features"]:
            cause = feature["properties"].get("by", feature.get("by"))
            shapes[cause].append(shapely.make_valid(shapely.geometry.shape(feature["geometry"])))
        told_all = shapely.union_all([one for parts in shapes.values() for one in parts])
        told = shapely.union_all([*shapes["land"], *shapes["horizon"]])
        by_vessel = shapely.union_all(shapes["vessel"])
        water = self._stage.water(turn, reading.time_ns)
        ranges = water.range_m
        wet = water.is_wet & (ranges > 60.0) & (ranges < 0.97 * float(ranges.max()))
        truly = water.is_hidden & wet
        # As with the echoes: the reading places everything against the chart, the ground may lie elsewhere.
        lat, lon = frame.to_geographic(water.east_m - shift[0], water.north_m - shift[1])
        lat, lon = np.asarray(lat).reshape(wet.shape), np.asarray(lon).reshape(wet.shape)
        behind = self._behind_hulls(turn, water, laid)
        open_water = wet & ~truly & ~behind
        self.open_water += float(ranges[open_water].sum())
        if not shapely.is_empty(by_vessel):
            self.open_told_hidden += float(ranges[open_water & shapely.contains_xy(by_vessel, lon, lat)].sum())
        if self._stage.is_chart_right and self._stage.shores is not None:
            counted = wet & ~behind if self._stage.by_bearing else wet
            said = shapely.contains_xy(told, lon, lat) & counted
            self.both += float(ranges[truly & said].sum())
            self.true += float(ranges[truly & counted].sum())
            self.either += float(ranges[(truly | said) & counted].sum())
        for one in turn.truth.objects:
            if one.seen is None or not one.seen.hidden or not self._stage.is_boat(one.name):
                continue
            if self._stage.blind_untold(turn, one.seen.bearing_rad) or not self._surely_hidden(turn, water, one):
                continue
            self.boats += 1
            lat, lon = frame.to_geographic(one.east_m - shift[0], one.north_m - shift[1])
            self.boats_in_seen += not shapely.contains_xy(told_all, lon, lat)

    def _surely_hidden(self, turn: StageTurn, water: WildWater, one: ObjectTruth) -> bool:
        """Return whether a hidden boat lies well inside what hides her."""
        if self._stage.is_blind(turn, one.seen.bearing_rad if one.seen is not None else 0.0):
            return True
        away = np.hypot(water.east_m - one.east_m, water.north_m - one.north_m)
        row, cell = np.unravel_index(int(np.argmin(away)), away.shape)
        rows = np.arange(row - EDGE_CELLS, row + EDGE_CELLS + 1) % away.shape[0]
        return bool(water.is_hidden[rows, max(0, cell - EDGE_CELLS) : cell + EDGE_CELLS + 1].all())

    def _behind_hulls(self, turn: StageTurn, water: Any, laid: Laid) -> Any:
        """Return which cells have something large on their bearing, before them."""
        behind = np.zeros(water.range_m.shape, dtype=np.bool_)
        bearing = np.arctan2(water.east_m - laid.own_m[0], water.north_m - laid.own_m[1])
        for one in turn.truth.objects:
            if one.seen is not None and self._stage.casts(one.name):
                half = 0.5 * one.length_m / one.seen.range_m + self._stage.beam_rad
                off = np.abs(np.mod(bearing - one.seen.bearing_rad + math.pi, 2.0 * math.pi) - math.pi)
                behind |= (off < half) & (water.range_m > one.seen.range_m - 50.0 - 0.5 * one.length_m)
        return behind
