"""The page for a radar by its screen: one look at a source, what was found, and what has to be asked.

Asked with ``{"do": "picture", "source": text, "range_nm": number or null, "up": "bow", "north" or null}``; told back
are a picture of what was found, plain lines, what must still be told, and the link to choose.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from moonless.errors import InputError
from moonless.helm.bodies.setup import PictureFoundBody
from moonless.helm.setup.fence import check_picture
from moonless.picture.told import Told
from moonless.watch.screen.pictured import SCHEME, source_of

# The ranges of marine radars by the performance standard, and a few between that small sets have.
RANGES_NM = (0.125, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 16.0, 24.0)


def sources() -> list[str]:
    """Return the cameras and capture devices of this computer."""
    return sorted(str(path) for path in Path("/dev").glob("video[0-9]*"))


def link_of(source: str, range_nm: float | None, up: str | None) -> str:
    """Return the link that a source and what was told of it make."""
    told = [f"range={range_nm:g}"] if range_nm is not None else []
    told += [f"up={up}"] if up is not None else []
    return SCHEME + source + ("?" + "&".join(told) if told else "")


def look_once(request: Mapping[str, object], roots: Sequence[Path]) -> PictureFoundBody:
    """Return what one look at a source has found.  Takes some seconds; for a thread of its own.

    ``roots``: below these a screen may look at files, as for charts; elsewhere only at cameras and at the screen.

    Raises InputError, or another MoonlessError, in one plain line.
    """
    source, range_nm, up = request.get("source"), request.get("range_nm"), request.get("up")
    if not isinstance(source, str) or not source or len(source) > 1000:
        raise InputError("name a camera, a capture device or a video: /dev/video0, screen, scope.mp4")
    check_picture(source, roots)
    if not (range_nm is None or (isinstance(range_nm, int | float) and not isinstance(range_nm, bool))):
        raise InputError("range_nm is no number")
    if up not in (None, "bow", "north"):
        raise InputError("up is bow or north")
    link = link_of(source, range_nm, up)
    _, told = source_of(link)
    return _found(source, told, link)


def _found(source: str, told: Told, link: str) -> PictureFoundBody:
    try:
        import av  # noqa: F401
        import cv2
    except ImportError as problem:
        missing = f"pictures need {problem.name}, which is not installed; install moonless[picture]"
        raise InputError(missing) from problem
    from moonless.picture.camera import frames
    from moonless.picture.geometry.find import NoScope
    from moonless.picture.lay import Layer
    from moonless.picture.look import look
    from moonless.picture.show import draw_found

    first = next(frames(source), None)
    if first is None:
        raise InputError(f"{source} holds no picture")
    picture = first[1]
    try:
        found = look(picture, told)
    except NoScope as problem:
        ok, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 70])
        shown = _url(data, "jpeg") if ok else None
        return {"picture": shown, "lines": [_said(str(problem))], "needs": [], "link": None}
    scan = Layer.make(found).lay(picture) if found.range_m is not None else None
    ok, data = cv2.imencode(".png", draw_found(picture, found, scan))
    needs = []
    if found.range_m is None:
        needs.append("range")
    if found.bow_rad is None and not found.north_up:
        needs.append("up")
    lines = [f"{found.rings} range rings; the screen leans {found.plane.tilt_deg:.0f}° from the camera.", *found.notes]
    return {
        "picture": _url(data, "png") if ok else None,
        "lines": [_said(line) for line in lines],
        "needs": needs,
        "ranges_nm": list(RANGES_NM),
        "link": link if not needs else None,
    }


def _url(data: NDArray[np.uint8], kind: str) -> str:
    return f"data:image/{kind};base64," + base64.b64encode(data.tobytes()).decode("ascii")


def _said(line: str) -> str:
    line = line[:1].upper() + line[1:]
    return line if line.endswith(".") else line + "."
