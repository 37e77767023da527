"""Moonless: a second pair of eyes for a small boat under way in the dark."""

__version__ = "0.1.0"
