"""The version, where every room can read it without going through the public door."""

from __future__ import annotations

VERSION = "0.1.0"
