"""Which links a screen may choose: what comes from outside, never what lies on this computer's disk.

A file's lines would be shown as sentences that are heard, so a file is named on the command line or in helm.toml alone.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Collection, Sequence
from pathlib import Path

from moonless.errors import InputError
from moonless.helm.setup.folders import is_below
from moonless.wire.links import parse_link

_CAMERA = re.compile(r"/dev/video\d+")


def check_link(link: str, known: Collection[str], roots: Sequence[Path]) -> None:
    """Refuse what a screen may not name as a link.

    Parameters
    ----------
    known : links that the settings had before: somebody at this computer has named them
    roots : below these a screen may look at pictures, as at charts

    Raises InputError in one plain line.
    """
    spec = parse_link(link)
    if link in known:
        return
    if spec.kind == "file":
        raise InputError(f"{link}: a file is no link that a screen may choose; name it where the helm is started")
    if spec.kind == "serial" and not _is_device(spec.device):
        raise InputError(f"{spec.device} is no serial device of this computer")
    if spec.kind == "picture":
        check_picture(spec.device, roots)


def check_picture(source: str, roots: Sequence[Path]) -> None:
    """Refuse a source of pictures that a screen may not look at: its picture would leave this computer."""
    if _CAMERA.fullmatch(source) or source.partition(":")[0] == "screen":
        return
    if not is_below(Path(os.path.realpath(os.path.expanduser(source))), roots):
        raise InputError(f"{source}: only cameras, the screen, your own folders and mounted drives are looked at")


def _is_device(device: str) -> bool:
    if re.fullmatch(r"COM\d+", device):
        return True
    place = os.path.realpath(device)
    if not place.startswith("/dev/"):
        return False
    # One that is not plugged in now may come later.
    return not os.path.lexists(place) or stat.S_ISCHR(os.stat(place).st_mode)
