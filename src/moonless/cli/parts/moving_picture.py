"""A video, a camera or a screen read by ``moonless picture``."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from moonless.picture.told import Told
    from moonless.picture.types import PictureScan


def moving(
    source: str, told: Told, png_file: Path | None, cat240_file: Path | None, as_json: bool, seconds: float | None
) -> None:
    """Read a source to its end, or for so long; write what was asked for."""
    import cv2

    from moonless.cli.parts.picture_words import tell
    from moonless.clock import SystemClock
    from moonless.files import Drafts, write_whole
    from moonless.picture.camera import frames, is_live
    from moonless.picture.show import draw_found
    from moonless.picture.stream import PictureStream
    from moonless.units import NS_PER_S

    live = is_live(source)
    limit_ns = None if seconds is None else round(seconds * NS_PER_S)
    if live and limit_ns is None:
        limit_ns = 10 * NS_PER_S
    began_ns = SystemClock().now_ns() if live else _file_began_ns(Path(source))
    stream = PictureStream(told)
    seen: tuple[NDArray[np.uint8], PictureScan | None] | None = None  # the last frame that was read, and its scan
    n_spoke = 0

    def chunks() -> Iterator[bytes]:
        nonlocal n_spoke, seen
        from moonless.watch.screen.transcribe import blocks_of, summary_of

        for at_ns, frame in frames(source):
            if limit_ns is not None and at_ns > limit_ns:
                return
            when = began_ns + at_ns
            out = stream.put(frame, when)
            for line in out.said:
                click.echo(f"{at_ns / NS_PER_S:.1f} s: {line}", err=True)
            seen = (frame, out.scan)
            if out.spokes and out.errors is not None:
                n_spoke += len(out.spokes)
                yield summary_of(out.errors, when)
                yield from blocks_of(out.spokes)

    if cat240_file is None:
        for _ in chunks():
            pass
    else:
        with Drafts() as drafts:
            drafts.binary(cat240_file).writelines(_not_empty(chunks(), source))
    if stream.found is None or seen is None:
        raise InputError(f"{source}: no scope was found in {stream.n_frame} frames")
    picture, scan = seen
    tell(stream.found, scan, as_json)
    if not as_json:
        click.echo(f"{stream.n_frame} frames, {n_spoke} spokes")
    if png_file is not None:
        ok, data = cv2.imencode(".png", draw_found(picture, stream.found, scan))
        assert ok
        write_whole(png_file, data.tobytes())


def _not_empty(chunks: Iterator[bytes], source: str) -> Iterator[bytes]:
    is_empty = True
    for chunk in chunks:
        is_empty = False
        yield chunk
    if is_empty:
        raise InputError(f"{source}: nothing is written: no frame could be read, as said above")


def _file_began_ns(path: Path) -> int:
    """Return when a video began: nothing in it says so; its file was closed when it ended."""
    import av

    from moonless.picture.camera import why
    from moonless.units import NS_PER_S

    try:
        ended_ns = path.stat().st_mtime_ns
        with av.open(str(path)) as container:
            lasts_s = 0.0 if container.duration is None else container.duration / av.time_base
    except (OSError, av.error.FFmpegError) as problem:
        raise InputError(f"{path} is no video that can be read: {why(problem)}") from problem
    return ended_ns - round(lasts_s * NS_PER_S)
