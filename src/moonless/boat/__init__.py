"""The boat and its radar set, read from ``boat.toml``."""

from __future__ import annotations

from moonless.boat.file import boat_from_dict, default_boat, read_boat
from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat, Pulse, RadarSet, Skipper, StoppingTrial

__all__ = [
    "GENERIC_SETS",
    "Boat",
    "Pulse",
    "RadarSet",
    "Skipper",
    "StoppingTrial",
    "boat_from_dict",
    "default_boat",
    "read_boat",
]
