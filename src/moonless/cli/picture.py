"""``moonless picture``: a radar read from the picture of its screen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.figures import Bounded
from moonless.errors import InputError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from moonless.picture.told import Told

_FILE = click.Path(dir_okay=False, path_type=Path)
# No photograph is as large.  Own choice.
MOST_STILL_BYTES = 200_000_000


class _Pixel(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """X,Y of a pixel, from the upper left corner."""

    name = "X,Y"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        try:
            x, y = (float(part) for part in value.split(","))
        except ValueError:
            self.fail(f"{value!r} is not X,Y in pixels, as in 640,212", param, ctx)
        return x, y


@click.command(
    epilog="\b\nExamples:\n"
    "  moonless picture scope.jpg\n"
    "  moonless picture scope.jpg --range 1.5 --up bow --png found.png --cat240 turn.cat240\n"
    "  moonless picture screen.mp4 --range 3 --cat240 run.cat240\n"
    "  moonless picture /dev/video0 --seconds 10"
)
@click.argument("source", metavar="IMAGE|VIDEO|DEVICE")
@click.option("--range", "range_nm", type=Bounded(0.02, 96.0), metavar="NM",
              help="Range of the outermost ring, where it cannot be read.")  # fmt: skip
@click.option("--up", type=click.Choice(["bow", "north"]), help="What is up, where no heading line shows it.")
@click.option("--echo", "echo_at", type=_Pixel(), multiple=True, help="A pixel of the strongest echo there is.")
@click.option("--not-echo", "not_echo_at", type=_Pixel(), multiple=True,
              help="A pixel of what is no echo: a trail, a symbol; may be given again.")  # fmt: skip
@click.option("--png", "png_file", type=_FILE, help="Write a picture of what was found.")
@click.option("--cat240", "cat240_file", type=_FILE, help="Write the video as ASTERIX category 240 data blocks.")
@click.option("--json", "as_json", is_flag=True, help="Say what was found as one JSON object.")
@click.option("--seconds", type=Bounded(0.5, 86_400.0),
              help="How long to look at a device or a shared screen; a video is read to its end.")  # fmt: skip
def command(
    source: str,
    range_nm: float | None,
    up: str | None,
    echo_at: tuple[tuple[float, float], ...],
    not_echo_at: tuple[tuple[float, float], ...],
    png_file: Path | None,
    cat240_file: Path | None,
    as_json: bool,
    seconds: float | None,
) -> None:
    """Read a radar from the picture of its screen: a photo, a video, a camera, or the screen of another program.

    Says what was found: how the screen leans, its rings and range, the bow, its colours, and what must be told first.
    A range or a bow that is not sure is asked for and never guessed.
    """
    need_picture()
    from moonless.picture.told import Told

    told = Told(range_nm, up, echo_at, not_echo_at)  # type: ignore[arg-type]
    if is_still(source):
        _still(Path(source), told, png_file, cat240_file, as_json)
        return
    from moonless.cli.parts.moving_picture import moving

    moving(source, told, png_file, cat240_file, as_json, seconds)


STILLS = {".png", ".jpg", ".jpeg", ".bmp", ".tif", ".tiff", ".webp"}


def is_still(source: str) -> bool:
    """Say whether a source is one picture."""
    return Path(source).suffix.lower() in STILLS


def need_picture() -> None:
    """Raise InputError where what reads pictures is not installed."""
    try:
        import av  # noqa: F401
        import cv2  # noqa: F401
    except ImportError as problem:
        raise InputError(
            f"pictures need {problem.name}, which is not installed; install moonless[picture]"
        ) from problem


def read_still(path: Path) -> NDArray[np.uint8]:
    """Return a picture file's pixels.  Raises InputError where there is none that can be read."""
    import cv2
    import numpy as np

    from moonless.files import read_small

    try:
        data = read_small(path, MOST_STILL_BYTES)
    except OSError as problem:
        raise InputError(f"{path} cannot be read: {problem.strerror}") from problem
    # OpenCV turns a photo as its own note says it was held.
    picture: NDArray[np.uint8] | None = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR) if data else None
    if picture is None:
        raise InputError(f"{path} is no picture that can be read")
    return picture


def _still(path: Path, told: Told, png_file: Path | None, cat240_file: Path | None, as_json: bool) -> None:
    import cv2
    import numpy as np

    from moonless.cli.parts.picture_words import tell
    from moonless.files import write_whole
    from moonless.picture.lay import Layer
    from moonless.picture.look import look
    from moonless.picture.show import draw_found
    from moonless.picture.told import PictureErrors
    from moonless.watch.screen.transcribe import blocks_of, summary_of

    picture = read_still(path)
    found = look(picture, told)
    scan = Layer.make(found).lay(picture) if found.range_m is not None else None
    tell(found, scan, as_json)
    if png_file is not None:
        ok, data = cv2.imencode(".png", draw_found(picture, found, scan))
        assert ok
        write_whole(png_file, data.tobytes())
    if found.asks:
        if cat240_file is not None:
            raise InputError(f"{path}: nothing is written before it is told: {'; '.join(found.asks)}")
        return
    if cat240_file is not None and scan is not None:
        # A still has one moment: that of its file.
        when = path.stat().st_mtime_ns
        rows = np.arange(scan.echo.shape[0])
        spokes = scan.spokes(np.full(rows.size, when), rows, 0)
        summary = summary_of(PictureErrors(scan.range_sigma_m, scan.azimuth_sigma_rad, 0.5), when)
        write_whole(cat240_file, b"".join([summary, *blocks_of(spokes)]))
