"""The demo's story, and how it is opened."""

from __future__ import annotations

from pathlib import Path

from moonless.scene.file import demo_folder, load_scene
from moonless.scene.types import Scene


def open_demo() -> Scene:
    """Return the story: a launch brings a shore-bird survey crew home through the invented waters after moonset."""
    return load_scene(demo_folder() / "story.toml")


def demo_chart() -> Path:
    """Return the chart of the invented waters."""
    return demo_folder() / "waters.gpkg"


def demo_boat() -> Path:
    """Return the boat file of the launch."""
    return demo_folder() / "boat.toml"
