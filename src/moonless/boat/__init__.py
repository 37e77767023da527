"""The boat and its radar set, read from ``boat.toml``."""

from moonless.boat.file import read_boat
from moonless.boat.sets import GENERIC_SETS
from moonless.boat.types import Boat, RadarSet, Skipper, StoppingTrial

__all__ = ["GENERIC_SETS", "Boat", "RadarSet", "Skipper", "StoppingTrial", "read_boat"]
