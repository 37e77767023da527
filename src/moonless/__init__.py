"""Moonless: a second pair of eyes for a small boat under way in the dark.

    import moonless as ml

    tracker = ml.Tracker()
    for scan in ml.read_scans("run/"):
        tracks = tracker.update(scan)

What stands below is the public door for a program or a notebook: degrees, metres, knots and UTC.  A name is imported
when it is first used, so that ``import moonless`` costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from moonless.version import VERSION

if TYPE_CHECKING:
    from moonless.api.ahead import MarkAhead, Prediction, open_chart, predict
    from moonless.api.meeting import Meeting, Mover, encounter, lights_required
    from moonless.api.night import Sky, Tide, sky_at, tide_at
    from moonless.api.runs import demo_chart, make_run, read_run, scenes
    from moonless.api.scans import Detections, Detector, TrackedEcho, Tracker, Tracks, detect, read_scans
    from moonless.boat.file import default_boat, read_boat

__version__ = VERSION

_WHERE = {
    "moonless.api.ahead": ("MarkAhead", "Prediction", "open_chart", "predict"),
    "moonless.api.meeting": ("Meeting", "Mover", "encounter", "lights_required"),
    "moonless.api.night": ("Sky", "Tide", "sky_at", "tide_at"),
    "moonless.api.runs": ("demo_chart", "make_run", "read_run", "scenes"),
    "moonless.api.scans": ("Detections", "Detector", "TrackedEcho", "Tracker", "Tracks", "detect", "read_scans"),
    "moonless.boat.file": ("default_boat", "read_boat"),
}
_MODULE_OF = {name: module for module, names in _WHERE.items() for name in names}

__all__ = [
    "Detections",
    "Detector",
    "MarkAhead",
    "Meeting",
    "Mover",
    "Prediction",
    "Sky",
    "Tide",
    "TrackedEcho",
    "Tracker",
    "Tracks",
    "default_boat",
    "demo_chart",
    "detect",
    "encounter",
    "lights_required",
    "make_run",
    "open_chart",
    "predict",
    "read_boat",
    "read_run",
    "read_scans",
    "scenes",
    "sky_at",
    "tide_at",
]


def __getattr__(name: str) -> object:
    """Import a name of the door when it is first asked for (PEP 562)."""
    module = _MODULE_OF.get(name)
    if module is None:
        raise AttributeError(f"module 'moonless' has no attribute {name!r}")
    found: object = getattr(import_module(module), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
