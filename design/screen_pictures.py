"""Pictures of what is found on six made screens, for docs/picture.md: ``python design/screen_pictures.py FOLDER``.

Left the picture with the rings and the bow as they were found, right the scan it gives, bow up; red: not received.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from bench.screens.camera import Camera, hand_held, take
from bench.screens.echoes import made_echo
from bench.screens.layouts import LAYOUTS
from bench.screens.screen import Shown, draw_screen
from PIL import Image

from moonless.picture.lay import Layer
from moonless.picture.look import look
from moonless.picture.show import draw_found
from moonless.picture.told import Told

STEEP, RUST, PLUM, INK, LEAF, CROSS, BONE, TRAIL, SMALL, PORTRAIT = LAYOUTS
SIX: dict[str, tuple[object, Camera | None]] = {
    "head-up-capture": (STEEP, None),
    "phone-30-degrees": (RUST, hand_held(61, (1280, 720), 30.0)),
    "light-course-up": (INK, hand_held(62, (1600, 900), 20.0)),
    "box-north-up": (CROSS, hand_held(63, (1920, 1080), 10.0)),
    "menu-over-it": (replace(STEEP, over=("menu",)), hand_held(64, (1280, 720), 10.0)),
    "portrait-480-lines": (PORTRAIT, hand_held(65, (854, 480), 20.0)),
}


def main(folder: Path) -> None:
    """Draw them all."""
    for number, (name, (layout, camera)) in enumerate(SIX.items()):
        screen = draw_screen(layout, Shown(made_echo(600 + number), 3.0, 0.5, 0.4))  # type: ignore[arg-type]
        pixels = screen.pixels if camera is None else take(screen.pixels, camera).pixels
        picture = np.ascontiguousarray(pixels[:, :, ::-1])
        found = look(picture, Told(range_nm=3.0))
        drawn = draw_found(picture, found, Layer.make(found).lay(picture), side=420)
        image = Image.fromarray(cv2.cvtColor(drawn, cv2.COLOR_BGR2RGB)).quantize(128)
        image.save(folder / f"screen-{name}.png", optimize=True)
        print(name, found.rings, f"{found.plane.tilt_deg:.0f} degrees", *found.notes, *found.asks, sep="; ")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
