"""Makes the small templates by which `moonless.picture.digits` reads figures: a free font drawn small, averaged.

    python design/picture_digits.py        writes src/moonless/picture/data/digits.npz

DejaVu Sans (Bitstream Vera licence, free to use and change) and Computer Modern Sans come with matplotlib.  The fonts
of the tests are others.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

CHARACTERS = "0123456789NMnmkKRAGEISHDTLOPQUVWXYZFBCJ/aegils"
FACES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSansMono.ttf", "cmss10.ttf")
HEIGHT, WIDTH, NARROW = 20, 16, 0.42
OUT = Path(__file__).parents[1] / "src" / "moonless" / "picture" / "data" / "digits.npz"


def drawn(character: str, font: ImageFont.FreeTypeFont, *, is_wide: bool = False) -> np.ndarray | None:
    """Return one character cut to its own edges and made HEIGHT x WIDTH, and its width over its height."""
    image = Image.new("L", (200, 200))
    ImageDraw.Draw(image).text((40, 40), character, fill=255, font=font)
    box = image.getbbox()
    if box is None:
        return None
    cut = image.crop(box)
    aspect = cut.width / cut.height
    # A narrow character keeps its shape; all others are made equally wide, as fonts differ most in that.
    width = WIDTH if aspect > NARROW or is_wide else max(2, round(HEIGHT * aspect))
    small = np.zeros((HEIGHT, WIDTH), np.uint8)
    at = (WIDTH - width) // 2
    small[:, at : at + width] = np.asarray(cut.resize((width, HEIGHT), Image.Resampling.BOX))
    return small


def main() -> None:
    """Write the templates."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    labels, pixels = [], []
    for face in FACES:
        font = ImageFont.truetype(str(folder / face), 96)
        for character in CHARACTERS:
            one = drawn(character, font)
            if one is not None:
                labels.append(character)
                pixels.append(one)
        # Some fonts give the one a foot and some a stroke, and so another width.
        for is_wide in (True, False):
            image = drawn("1", font, is_wide=is_wide)
            assert image is not None
            stroke = np.zeros_like(image)
            cut = image[: HEIGHT - 4] if is_wide else image
            stroke[:] = np.asarray(Image.fromarray(cut).resize((WIDTH, HEIGHT), Image.Resampling.BOX))
            narrow = np.zeros_like(image)
            narrow[:, 4:12] = np.asarray(Image.fromarray(stroke).resize((8, HEIGHT), Image.Resampling.BOX))
            labels += ["1", "1"]
            pixels += [stroke, narrow]
    np.savez_compressed(OUT, labels=np.array(labels), pixels=np.stack(pixels))
    print(f"{OUT}: {len(labels)} templates, {OUT.stat().st_size} octets")


if __name__ == "__main__":
    main()
