"""Whole runs: made from a scene, or read against a chart."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from moonless.api.inputs import Paths, boat_of, paths_of
from moonless.api.scans import replay_of
from moonless.boat.types import Boat
from moonless.chart.library import Chart
from moonless.errors import InputError
from moonless.reading.types import Reading
from moonless.scene import story
from moonless.scene.file import load_scene
from moonless.scene.player import ScenePlayer
from moonless.scene.write import write_run
from moonless.watch.pipeline.chain import Chain
from moonless.watch.pipeline.replay import play

_SCENES = story.demo_chart().parents[1] / "scenes"


def scenes() -> tuple[str, ...]:
    """Return the names of the scenes that come with Moonless; all play on invented waters, or on open sea."""
    return ("demo", *sorted(path.stem for path in _SCENES.glob("*.toml")))


def demo_chart() -> Path:
    """Return the chart of the invented waters: a GeoPackage.  They do not exist; not for navigation."""
    return story.demo_chart()


def make_run(scene: str | Path, folder: str | Path, *, duration_s: float | None = None) -> Path:
    """Play a scene into a folder (radar video, NMEA, truth), and return the folder.  The radar video is made.

    ``scene``: one of `scenes`, or a scene file; ``duration_s``: how long, None: all of it.  A folder that holds a run
    already is written anew.
    Raises InputError if there is no such scene, or the folder cannot be written.
    """
    named = str(scene)
    if named == "demo":
        read = story.open_demo()
    elif named in scenes():
        read = load_scene(_SCENES / f"{named}.toml")
    elif Path(scene).is_file():
        read = load_scene(Path(scene))
    else:
        raise InputError(f"there is no scene {named!r}; there are: {', '.join(scenes())}, or give a scene file")
    if duration_s is not None:
        if not (math.isfinite(duration_s) and duration_s > 0.0):
            raise InputError(f"duration_s is {duration_s}; a run takes some seconds")
        read = replace(read, duration_s=duration_s)
    write_run(ScenePlayer(read), Path(folder))
    return Path(folder)


def read_run(
    path: str | Path,
    boat: Boat | str | Path | None = None,
    chart: Chart | Paths | None = None,
    nmea: Paths = (),
    *,
    tide_m: float | None = None,
) -> Iterator[Reading]:
    """Yield the readings of a run, one for each scan: echoes explained, what is hidden, how far is seen, what to say.

    Parameters
    ----------
    path, nmea : as `read_scans` takes them, without polar sets
    boat : None: an assumed 9 m launch with a small radome
    chart : an opened chart, or what `open_chart` takes; None: echoes are told but not explained
    tide_m : height of tide all along, above chart datum; None: not known

    Raises
    ------
    InputError, SourceError  In one line, if something cannot be read.
    """
    opened = chart if chart is None or isinstance(chart, Chart) else Chart.open(paths_of(chart))
    chain = Chain(boat_of(boat), opened)
    chain.given.tide_m = tide_m
    return (turn.reading for turn, _ in play(chain, replay_of(Path(path), nmea)))
