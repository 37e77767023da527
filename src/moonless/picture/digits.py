"""Figures read where they stand on the screen: by small templates, without any learnt model.

Only what is read beyond doubt is handed on.  A figure that cannot be read is asked for; it is never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

import cv2
import numpy as np
from numpy.typing import NDArray

HEIGHT, WIDTH, NARROW = 20, 16, 0.42
# Letters lower than this cannot be told apart; higher than this they are no writing.
LOWEST_PX, HIGHEST_PX = 7, 120
# A character is read when its template fits so well, and the best of another character so much worse.
FITS, CLEARER = 0.62, 0.03
# Nothing may stand so close before a number, in heights of its characters: what does could belong to it.
BEFORE = 1.6
# A number stands at the beginning of a word: what comes before it, unread, could belong to it.
_NUMBER = re.compile(
    r"(?:(?<=[A-Za-z?]{2}[A-Za-z] )|^)([0-9]{1,3}(?:\.[0-9]{1,3})?) ?(NM|nm|Nm|M|km|KM)(?![A-Za-z0-9])"
)
# What ends like a distance, whatever stands before.
_UNREAD = re.compile(r"[0-9?.IlJ] ?(NM|nm|N\?|\?M|km|\?m|n\?)$")


@dataclass(frozen=True, slots=True)
class FigureRead:
    """One distance read.  ``value``: in ``unit``; ``at``: (x, y, width, height) in the picture that was read."""

    value: float
    unit: str  # "nm" or "km"
    text: str
    fit: float  # 0 to 1, of its worst character
    at: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class _Mark:
    x: int
    y: int
    width: int
    height: int
    character: str
    fit: float


@lru_cache(maxsize=1)
def _templates() -> tuple[tuple[str, ...], NDArray[np.float32]]:
    with resources.files("moonless.picture").joinpath("data/digits.npz").open("rb") as file:
        found = np.load(file)
        labels, pixels = tuple(str(c) for c in found["labels"]), found["pixels"].astype(np.float32)
    flat = _unit(pixels.reshape(pixels.shape[0], -1))
    return labels, flat


def _unit(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    rows = rows - rows.mean(axis=1, keepdims=True)
    out: NDArray[np.float32] = rows / np.maximum(np.sqrt((rows**2).sum(axis=1, keepdims=True)), 1e-6)
    return out


def read_figures(picture: NDArray[np.uint8]) -> tuple[list[FigureRead], int]:
    """Return the distances written upright in a picture, (height, width, 3), surest first; and how many more seem to
    be there that could not be read.
    """
    unread = 0
    grey = picture.max(axis=2)
    found: list[FigureRead] = []
    scale = 3 if picture.shape[0] < 500 else 2
    grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    for side in (grey, 255 - grey):
        marks = _marks(side)
        for line in _lines(marks):
            here = _figures(line, marks, scale)
            found += here
            unread += not here and _UNREAD.search(_text(line)[0]) is not None
    found.sort(key=lambda f: -f.fit)
    return found, unread


def line_places(picture: NDArray[np.uint8]) -> list[tuple[int, int, int, int]]:
    """Return the places, (x, y, width, height), of writing that is a distance or could be one."""
    grey = picture.max(axis=2)
    scale = 3 if picture.shape[0] < 500 else 2
    grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    out = []
    for side in (grey, 255 - grey):
        marks = _marks(side)
        for line in _lines(marks):
            if _figures(line, marks, scale) or _UNREAD.search(_text(line)[0]):
                x, y, width, height = _box(line)
                out.append((x // scale, y // scale, width // scale, height // scale))
    return out


def _marks(grey: NDArray[np.uint8]) -> list[_Mark]:
    """Return the light marks on a darker ground that have the size of writing."""
    wide = 2 * (HIGHEST_PX // 2) + 1
    ground = cv2.blur(cv2.erode(grey, np.ones((wide // 3, wide // 3), np.uint8)), (wide, wide))
    over = cv2.subtract(grey, ground)
    local = cv2.dilate(over, np.ones((31, 31), np.uint8))
    ink = ((over > 40) & (over > 0.5 * local.astype(np.float32))).astype(np.uint8)
    count, label, stats, _ = cv2.connectedComponentsWithStats(ink, connectivity=8)
    labels, templates = _templates()
    marks: list[_Mark] = []
    pieces: list[NDArray[np.float32]] = []
    holes: list[int] = []
    for k in range(1, count):
        x, y, width, height, area = (int(v) for v in stats[k])
        if height > HIGHEST_PX or width > 1.6 * HIGHEST_PX or area < 4:
            continue
        if height < LOWEST_PX or width > 1.9 * height:
            if max(width, height) <= HIGHEST_PX // 4 and width <= 2.0 * height + 2 and area > 0.5 * width * height:
                marks.append(_Mark(x, y, width, height, ".", 1.0))
            continue
        part = np.where(label[y : y + height, x : x + width] == k, over[y : y + height, x : x + width], 0)
        peak = max(int(part.max()), 1)
        wanted = WIDTH if width > NARROW * height else max(2, round(HEIGHT * width / height))
        small = np.zeros((HEIGHT, WIDTH), np.float32)
        at = (WIDTH - wanted) // 2
        small[:, at : at + wanted] = cv2.resize(
            np.minimum(part.astype(np.float32) * (255.0 / peak), 255.0), (wanted, HEIGHT), interpolation=cv2.INTER_AREA
        )
        pieces.append(small)
        holes.append(_holes(label[y : y + height, x : x + width] == k))
        marks.append(_Mark(x, y, width, height, "", 0.0))
    if not pieces:
        return marks
    fits = _unit(np.stack(pieces).reshape(len(pieces), -1)) @ templates.T
    # An 8 has two holes and a 3 has none, however alike they look when small.
    expected = np.array([_HOLES.get(c, -1) for c in labels])
    fits = np.where((expected >= 0) & (expected != np.array(holes)[:, None]), -1.0, fits)
    rows = iter(fits)
    return [mark if mark.character == "." else _named(mark, next(rows), labels) for mark in marks]


# Four is left out: some fonts leave it open.
_HOLES = {**dict.fromkeys("12357SsNMGECZnmkK", 0), **dict.fromkeys("069RPDOA", 1), "8": 2, "B": 2}


def _holes(ink: NDArray[np.bool_]) -> int:
    """Return how many holes a character has; specks smaller than a fiftieth of its box are none."""
    outlines, tree = cv2.findContours(np.pad(ink, 1).astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    least = max(2.0, 0.02 * ink.size)
    return sum(bool(tree[0][k][3] >= 0 and cv2.contourArea(o) >= least) for k, o in enumerate(outlines))


def _named(mark: _Mark, fits: NDArray[np.float32], labels: tuple[str, ...]) -> _Mark:
    best = int(np.argmax(fits))
    name = labels[best]
    rival = max((float(f) for f, c in zip(fits, labels, strict=True) if not _alike(c, name)), default=0.0)
    fit = float(fits[best])
    is_read = fit >= FITS and fit - rival >= CLEARER
    return _Mark(mark.x, mark.y, mark.width, mark.height, name if is_read else "?", fit)


# Letters that differ in size alone, and figures that some fonts draw as letters are drawn.
_ALIKE = ("0OQD", "1Il", "5S", "8B", "2Z", "Nn", "Mm", "Kk", "Vv", "Ss", "6G")


def _alike(a: str, b: str) -> bool:
    return a == b or any(a in group and b in group for group in _ALIKE)


def _lines(marks: list[_Mark]) -> list[list[_Mark]]:
    """Return marks that stand side by side on one line, left to right."""
    tall = sorted((m for m in marks if m.character != "."), key=lambda m: m.x)
    dots = [m for m in marks if m.width < 1.7 * m.height + 2 and m.height < 1.7 * m.width + 2]
    lines: list[list[_Mark]] = []
    for mark in tall:
        for line in lines:
            last = line[-1]
            same = abs(last.y + last.height - mark.y - mark.height) < 0.25 * max(last.height, mark.height)
            near = -0.3 * mark.height < mark.x - (last.x + last.width) < 1.1 * max(last.height, mark.height)
            size = 0.6 < mark.height / last.height < 1.7
            if same and near and size:
                line.append(mark)
                break
        else:
            lines.append([mark])
    out = []
    for line in lines:
        if len(line) < 2:
            continue
        high = max(m.height for m in line)
        base = float(np.median([m.y + m.height for m in line]))
        left, right = line[0].x - high, line[-1].x + line[-1].width
        on = [
            d for d in dots
            if left < d.x < right and abs(d.y + d.height - base) < 0.22 * high and d.height < 0.34 * high
        ]  # fmt: skip
        on = [d if d.character == "." else _Mark(d.x, d.y, d.width, d.height, ".", 1.0) for d in on]
        out.append(sorted([*line, *on], key=lambda m: m.x))
    return out


def _box(line: list[_Mark]) -> tuple[int, int, int, int]:
    x, y = min(m.x for m in line), min(m.y for m in line)
    return x, y, max(m.x + m.width for m in line) - x, max(m.y + m.height for m in line) - y


def _text(line: list[_Mark]) -> tuple[str, list[_Mark]]:
    """Return the line with its spaces, and the mark behind each character (a space: that before it)."""
    out = ""
    behind: list[_Mark] = []
    high = max(m.height for m in line)
    for k, mark in enumerate(line):
        if k and mark.x - (line[k - 1].x + line[k - 1].width) > 0.28 * high:
            out, behind = out + " ", [*behind, line[k - 1]]
        out, behind = out + mark.character, [*behind, mark]
    return out, behind


def _as_number(text: str) -> str:
    """Return the text with letters that are drawn like figures read as figures, where they stand among figures."""
    swap = {"O": "0", "Q": "0", "D": "0", "I": "1", "l": "1", "S": "5", "s": "5", "B": "8", "Z": "2", "G": "6"}
    out = list(text)
    for _ in range(2):
        for k, c in enumerate(out):
            beside = [out[j] for j in (k - 1, k + 1) if 0 <= j < len(out)]
            start = k == 0 or out[k - 1] == " "
            if c in swap and (any(b.isdigit() or b == "." for b in beside) or (start and "N" in beside)):
                out[k] = swap[c]
    return "".join(out)


def _is_cut(marks: list[_Mark], others: list[_Mark]) -> bool:
    """Say whether something that is not of the line stands close before a number: it could be its beginning.

    Where writing leans, its characters fall into two lines, and "0.75" would be read as 75.
    """
    x, y, _, height = _box(marks)
    return any(
        x - BEFORE * height < o.x + 0.5 * o.width < x and y - 0.8 * height < o.y + 0.5 * o.height < y + 1.8 * height
        for o in others
    )


def _figures(line: list[_Mark], others: list[_Mark], scale: int) -> list[FigureRead]:
    text, behind = _text(line)
    found = []
    for match in _NUMBER.finditer(_as_number(text)):
        marks = [behind[k] for k in range(match.start(), match.end()) if text[k] != " "]
        if match.start() == 0 and _is_cut(marks, others):
            continue
        unit = "km" if match[2].lower() == "km" else "nm"
        x, y, width, height = _box(marks)
        value = float(match[1])
        if not 0.02 <= value <= 96.0:
            continue
        place = (x // scale, y // scale, width // scale, height // scale)
        found.append(FigureRead(value, unit, match[0], min(m.fit for m in marks), place))
    return found
