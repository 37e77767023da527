"""Where pictures come from: a video file, a camera or capture device, a shared screen.

    SOURCE                 what it is
    scope.mp4              a video file
    /dev/video0            a camera or a capture device
    screen                 this computer's own screen; screen:X,Y,WIDTHxHEIGHT a part of it

All of it goes through PyAV.  Frames come as (time, picture); of a live source only so many a second are handed on.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import av
import numpy as np

from moonless.errors import InputError, LinkError
from moonless.picture.geometry.edges import Picture
from moonless.units import NS_PER_S

FRAMES_PER_S = 2.0  # an antenna turns in one to three seconds; own choice
_SCREEN = re.compile(r"screen(?::(\d+),(\d+),(\d+)x(\d+))?$")


def is_live(source: str) -> bool:
    """Say whether a source goes on by itself."""
    return _SCREEN.match(source) is not None or source.startswith("/dev/") or not _is_file_name(source)


def _is_file_name(source: str) -> bool:
    return Path(source).suffix != "" or Path(source).is_file()


def frames(source: str, per_s: float = FRAMES_PER_S) -> Iterator[tuple[int, Picture]]:
    """Yield (nanoseconds since the first frame, picture) of a source, ``per_s`` a second at the most.

    Raises
    ------
    InputError  If there is no such source, or it holds no picture.
    LinkError  If a live source goes.
    """
    container = _open(source)
    step_ns = round(NS_PER_S / per_s)
    due: int | None = None
    first: float | None = None
    with closing(container):
        stream = next(iter(container.streams.video), None)
        if stream is None:
            raise InputError(f"{source} holds no picture")
        stream.thread_type = "AUTO"
        try:
            for frame in container.decode(stream):
                if frame.time is None:
                    continue
                first = frame.time if first is None else first
                at = round((frame.time - first) * NS_PER_S)
                # A frame just before it is due is near enough: cameras do not keep time to the millisecond.
                if due is not None and at < due - step_ns // 8:
                    continue
                due = at + step_ns if due is None or at - due > step_ns else due + step_ns
                yield at, np.ascontiguousarray(frame.to_ndarray(format="bgr24"))
        except av.error.FFmpegError as problem:
            if not is_live(source):
                raise InputError(f"{source} cannot be read on: {why(problem)}") from problem
            raise LinkError(f"{source} has gone: {why(problem)}") from problem


def _open(source: str) -> av.container.InputContainer:
    screen = _SCREEN.match(source)
    try:
        if screen is not None:
            return _open_screen(screen)
        if source.startswith("/dev/"):
            return av.open(source, format="v4l2", options={"framerate": "10"})
        if not Path(source).exists():
            raise InputError(f"{source} is not there; give a picture, a video, a device or screen")
        return av.open(source)
    except av.error.FFmpegError as problem:
        if is_live(source):
            raise LinkError(f"{source} cannot be opened: {why(problem)}") from problem
        raise InputError(f"{source} is no video that can be read: {why(problem)}") from problem


def _open_screen(screen: re.Match[str]) -> av.container.InputContainer:
    x, y, width, height = (None if part is None else int(part) for part in screen.groups())
    options = {"framerate": "5"}
    if width is not None:
        options["video_size"] = f"{width}x{height}"
    if sys.platform == "darwin":
        return av.open("1", format="avfoundation", options=options)
    if sys.platform == "win32":
        if x is not None:
            options |= {"offset_x": str(x), "offset_y": str(y)}
        return av.open("desktop", format="gdigrab", options=options)
    display = os.environ.get("DISPLAY")
    if not display:
        raise InputError("there is no screen to look at: DISPLAY is not set")
    place = display if x is None else f"{display}+{x},{y}"
    return av.open(place, format="x11grab", options=options)


def why(problem: Exception) -> str:
    """Return what went wrong, without numbers and names of files."""
    text = getattr(problem, "strerror", None) or str(problem)
    return str(text)
