"""``open_sea``: six turns of real open-sea clutter with no known vessel: false plots by place, targets put into it.

The video lies at ``MOONLESS_DATA``/real-radar/open-sea and is never copied.  Whether its counts are linear or
logarithmic is not known, so it is read three ways, as it stands (linear), through a logarithm and through a square
root, at 4, 8 and 12 bit.  Turn 1 is for learning.  What is chosen is chosen on turns 2 and 3; the figures are of turns
4 to 6.

    rate       plots a turn over the four boxes that are designed
    boxes      boxes over the threshold at a design rate of 1e-4, over that rate: everywhere, within 5 degrees of the
               blind sector's edges, on the streaks of other radars (as the 12 bit video shows them)
    target     dB that a target needs for half to be found, less what a clairvoyant needs: the same boxes, one turn,
               held against a threshold for each of 16 range rings that the whole recording's own tail gives, without
               targets, at the rate of plots measured.  Targets are beam and pulse shaped, of a strength known against
               the mean power of their ring, still or moving at 5 m/s, Swerling 0 or 1
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Sequence
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from bench.result import Result
from moonless.echo.detector import Detector
from moonless.echo.examine import FALSE_BOXES_A_TURN
from moonless.scan.types import Scan, ScanErrors

Floats = NDArray[np.float64]
SCALES = ("linear", "log", "root")
BITS = (4, 8, 12)
CHOSEN, TOLD = (1, 2), (3, 4, 5)  # turns, from 0
# From how alike neighbouring spokes and cells are (0.75 one spoke aside, 0.48 three cells on): not told with the data.
BEAM_DEG, PULSE_M = 1.2, 15.0
EDGES_DEG = (145.0, 213.0)
DESIGN = 1e-4
START_NS = 1_900_000_000_000_000_000
TARGETS = 48
NAMES = (
    *(f"open_sea.rate.{scale}{bits}" for scale in SCALES for bits in BITS),
    *(f"open_sea.boxes.{scale}{bits}" for scale in SCALES for bits in BITS),
    *(f"open_sea.boxes_{place}.{scale}{bits}" for place in ("edge", "streak") for scale in SCALES for bits in BITS),
    *(f"open_sea.target.{kind}.swerling{case}.{what}" for kind in ("still", "moving") for case in (0, 1)
      for what in ("linear12", "log8", "root8", "linear4")),
)  # fmt: skip


@lru_cache(maxsize=1)
def turns() -> list[dict[str, Any]]:
    """Return the six turns, empty when the data is not there."""
    folder = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar" / "open-sea"
    out = []
    for path in sorted(folder.glob("turn*.npz")):
        with np.load(path) as z:
            out.append({k: z[k] if z[k].ndim else z[k].item() for k in z.files})
    return out


def read_as(video: Floats, scale: str, bits: int) -> NDArray[np.uint16]:
    """Return 12 bit ``video`` as a receiver of that scale and word would have given it."""
    v = np.clip(video, 0.0, 4095.0)
    if scale == "log":
        v = 4095.0 * np.log1p(v / 50.0) / math.log1p(4095.0 / 50.0)
    elif scale == "root":
        v = np.sqrt(v * 4095.0)
    return np.asarray(np.minimum(np.floor((v + 0.5) / 2 ** (12 - bits)), 2**bits - 1), dtype=np.uint16)


def scan_of(
    turn: dict[str, Any], number: int, video: Floats, scale: str, bits: int, beam_deg: float = BEAM_DEG
) -> Scan:
    """Return one turn as a scan of a boat that lies still."""
    n = video.shape[0]
    start = START_NS + round(turn["start_s"] * 1e9)
    echo = read_as(video, scale, bits)
    return Scan(
        echo=echo.astype(np.uint8) if bits <= 8 else echo,
        is_received=np.ones(n, np.bool_),
        time_ns=start + (np.arange(n) * round(turn["turn_s"] * 1e9) // n),
        lat_deg=np.full(n, 10.0),
        lon_deg=np.full(n, -30.0),
        heading_true_rad=np.full(n, math.radians(turn["heading_deg"])),
        pose_age=np.zeros(n),
        first_cell_m=turn["first_cell_m"],
        cell_m=turn["cell_m"],
        full_scale=2**bits - 1,
        errors=ScanErrors(math.radians(beam_deg), PULSE_M, 0.005, 5.0),
        number=number,
    )


def _azimuths_deg(n: int) -> Floats:
    return np.arange(n) * (360.0 / n)


def _at_edge(azimuth_deg: Floats) -> NDArray[np.bool_]:
    return np.any([np.abs(np.mod(azimuth_deg - e + 180.0, 360.0) - 180.0) <= 5.0 for e in EDGES_DEG], axis=0)


@lru_cache(maxsize=8)
def _streaks(k: int) -> NDArray[np.bool_]:
    """Return the cells of turn ``k`` on another radar's streak: long runs far over both neighbouring spokes."""
    v = turns()[k]["video"].astype(np.float64)
    over = (v > np.maximum(np.roll(v, 1, 0), np.roll(v, -1, 0)) + 300.0) & (v > 900.0)
    dense = ndimage.uniform_filter1d(over.astype(np.float64), 41, axis=1) > 0.6
    return np.asarray(ndimage.binary_dilation(dense, np.ones((1, 41))) & (dense.sum(axis=1) > 20)[:, None])


def rates(scale: str, bits: int, beam_deg: float = BEAM_DEG) -> dict[str, dict[int, float]]:
    """Return, turn by turn, plots, and box rates over design everywhere, at the edges and on streaks."""
    out: dict[str, dict[int, float]] = {"plots": {}, "boxes": {}, "edge": {}, "streak": {}}
    whole, boxed = Detector(), Detector(p_false=DESIGN)
    for k, turn in enumerate(turns()):
        scan = scan_of(turn, k, turn["video"].astype(np.float64), scale, bits, beam_deg)
        out["plots"][k] = len(whole.detect(scan).plots)
        boxed.detect(scan)
        seen = boxed.last_examined
        assert seen is not None
        over = seen.box_db >= seen.threshold_db
        grid = seen.grid
        middle = np.arange(grid.n_row) * (360.0 / grid.n_row)
        out["boxes"][k] = float(np.mean(over)) / DESIGN
        out["edge"][k] = float(np.mean(over[_at_edge(middle)])) / DESIGN
        spoke = np.minimum((np.arange(grid.n_row) + 0.5) / grid.n_row * scan.n_spoke, scan.n_spoke - 1).astype(np.int64)
        streak = ndimage.binary_dilation(_streaks(k), np.ones((3, 1)))[spoke][:, :: grid.col_cells][:, : grid.n_col]
        out["streak"][k] = float(np.mean(over[streak])) / DESIGN if np.any(streak) else math.nan
    return out


def _ring_of_cell(n_cell: int) -> NDArray[np.int64]:
    return np.minimum((16.0 * np.arange(n_cell) / n_cell).astype(np.int64), 15)


@lru_cache(maxsize=1)
def _ring_power() -> Floats:
    """Return (16,) mean power of each ring, outside the blind sector and off the streaks."""
    power, count = np.zeros(16), np.zeros(16)
    for k, turn in enumerate(turns()):
        v = turn["video"].astype(np.float64)
        use = ~_streaks(k) & ~_in_blind(_azimuths_deg(v.shape[0]))[:, None]
        ring = np.broadcast_to(_ring_of_cell(v.shape[1]), v.shape)[use]
        power += np.bincount(ring, v[use] ** 2, 16)
        count += np.bincount(ring, minlength=16)
    return np.asarray(power / count)


def _in_blind(azimuth_deg: Floats, margin_deg: float = 6.0) -> NDArray[np.bool_]:
    return (azimuth_deg > EDGES_DEG[0] - margin_deg) & (azimuth_deg < EDGES_DEG[1] + margin_deg)


def with_targets(ratio_db: float, case: int, moving: bool, seed: int) -> list[tuple[Floats, Floats]]:
    """Return (video, (n, 2) azimuth in degrees and range in metres) of each turn with targets put in."""
    rng = np.random.default_rng(seed)
    first_m, cell_m = turns()[0]["first_cell_m"], turns()[0]["cell_m"]
    # Sectors and ranges apart from each other, so that no target stands in another's reference.
    sectors = [a for a in np.linspace(0.0, 360.0, TARGETS, endpoint=False) if not _in_blind(np.array([a]), 9.0)[0]]
    azimuth = np.asarray(sectors) + rng.uniform(-2.0, 2.0, len(sectors))
    range_m = rng.uniform(first_m + 100.0, first_m + 690 * cell_m, azimuth.size)
    speed = 5.0 * rng.choice((-1.0, 1.0), azimuth.size) if moving else np.zeros(azimuth.size)
    out = []
    for turn in turns():
        video = turn["video"].astype(np.float64)
        n = video.shape[0]
        r_now = range_m + speed * turn["start_s"]
        for a, r in zip(azimuth, r_now, strict=True):
            cell = (r - first_m) / cell_m
            power = _ring_power()[_ring_of_cell(752)[min(751, int(cell))]] * 10.0 ** (ratio_db / 10.0)
            power *= rng.exponential() if case == 1 else 1.0
            off = np.mod(_azimuths_deg(n) - a + 180.0, 360.0) - 180.0
            rows = np.flatnonzero(np.abs(off) < 2.5 * BEAM_DEG)
            cols = np.arange(max(0, int(cell) - 12), min(752, int(cell) + 13))
            beam = np.exp(-8.0 * math.log(2.0) * (off[rows] / BEAM_DEG) ** 2)
            pulse = np.exp(-4.0 * math.log(2.0) * ((cols - cell) * cell_m / PULSE_M) ** 2)
            amplitude = np.sqrt(power * beam[:, None] * pulse[None, :])
            here = video[np.ix_(rows, cols)]
            # The sea's phase under it is any, and changes from speckle to speckle.
            phase = rng.uniform(0.0, 2.0 * np.pi)
            mixed = np.sqrt(np.maximum(here**2 + amplitude**2 + 2.0 * here * amplitude * np.cos(phase), 0.0))
            video[np.ix_(rows, cols)] = np.minimum(mixed, 4095.0)
        out.append((video, np.column_stack((azimuth, r_now))))
    return out


def found_share(ratio_db: float, case: int, moving: bool, scale: str, bits: int, seeds: Sequence[int],
                told: Sequence[int] = TOLD) -> float:  # fmt: skip
    """Return the share of target-turns with a plot within a beam and a pulse and a half."""
    hits = total = 0
    for seed in seeds:
        detector = Detector()
        for k, (video, where) in enumerate(with_targets(ratio_db, case, moving, seed)):
            plots = detector.detect(scan_of(turns()[k], k, video, scale, bits)).plots
            if k not in told:
                continue
            off = np.degrees(plots.azimuth_rel_rad)[None, :] - where[:, :1]
            near = (np.abs(np.mod(off + 180.0, 360.0) - 180.0) < BEAM_DEG) & (
                np.abs(plots.range_m[None, :] - where[:, 1:]) < 1.5 * PULSE_M
            )
            hits += int(near.any(axis=1).sum())
            total += len(where)
    return hits / total


def _box(video: Floats, power: float) -> Floats:
    return np.asarray(ndimage.uniform_filter(video**power, (2, 4), mode=("wrap", "nearest")))


@lru_cache(maxsize=4)
def _clear_boxes(power: float) -> tuple[Floats, ...]:
    """Return each turn's boxes, streaks and blind sector out (-inf), streaks taken back to what stands beside them."""
    out = []
    for k, turn in enumerate(turns()):
        v = turn["video"].astype(np.float64)
        beside = np.maximum(np.roll(v, 1, 0), np.roll(v, -1, 0))
        box = _box(np.where(_streaks(k), np.minimum(v, beside), v), power)
        box[_in_blind(_azimuths_deg(v.shape[0]), 0.0)] = -np.inf
        out.append(box)
    return tuple(out)


def _tops(box: Floats) -> NDArray[np.bool_]:
    return np.asarray(box == ndimage.maximum_filter(box, (5, 9), mode=("wrap", "nearest"))) & np.isfinite(box)


@lru_cache(maxsize=64)
def clairvoyant_levels(power: float, plots_a_turn: float) -> Floats:
    """Return (16,) thresholds, each ring giving its sixteenth of the plots a turn over the whole recording."""
    ring = _ring_of_cell(752)
    heights: list[list[float]] = [[] for _ in range(16)]
    for box in _clear_boxes(power):
        a, c = np.nonzero(_tops(box))
        for r in range(16):
            heights[r].extend(box[a[ring[c] == r], c[ring[c] == r]])
    each = plots_a_turn * len(turns()) / 16.0
    levels = []
    for one in heights:
        top = np.sort(one)[::-1]
        # Between two of the tail's own values, in their logarithm; never beyond the highest.
        levels.append(float(np.exp(np.interp(each, np.arange(top.size) + 0.5, np.log(np.maximum(top, 1e-9))))))
    return np.asarray(levels)


def clairvoyant_share(ratio_db: float, case: int, moving: bool, plots_a_turn: float, seeds: Sequence[int],
                      told: Sequence[int] = TOLD) -> float:  # fmt: skip
    """Return the share of target-turns that the better of two clairvoyants finds: mean amplitude, mean power."""
    best = 0.0
    for power in (1.0, 2.0):
        level = clairvoyant_levels(power, plots_a_turn)[_ring_of_cell(752)]
        hits = total = 0
        for seed in seeds:
            for k, (video, where) in enumerate(with_targets(ratio_db, case, moving, seed)):
                if k not in told:
                    continue
                beside = np.maximum(np.roll(video, 1, 0), np.roll(video, -1, 0))
                over = _box(np.where(_streaks(k), np.minimum(video, beside), video), power) > level[None, :]
                n = video.shape[0]
                for a, r in where:
                    row = round(a / 360.0 * n)
                    cell = int((r - turns()[k]["first_cell_m"]) / turns()[k]["cell_m"])
                    hits += bool(over[np.arange(row - 2, row + 3) % n][:, max(0, cell - 5) : cell + 6].any())
                total += len(where)
        best = max(best, hits / total)
    return best


def half_db(share: Any, low_db: float = -2.0, high_db: float = 22.0) -> float:
    """Return where ``share(dB)`` crosses a half: bisection to 0.4 dB, then a line."""
    lo, hi = low_db, high_db
    s_lo, s_hi = 0.0, 1.0
    while hi - lo > 0.8:
        mid = 0.5 * (lo + hi)
        s = share(mid)
        if s < 0.5:
            lo, s_lo = mid, s
        else:
            hi, s_hi = mid, s
    return lo + (hi - lo) * (0.5 - s_lo) / max(s_hi - s_lo, 1e-9) if s_lo < 0.5 <= s_hi else hi


def _split(what: str) -> tuple[str, int]:
    digits = "".join(c for c in what if c.isdigit())
    return what[: -len(digits)], int(digits)


def run(names: Sequence[str], told: Sequence[int] = TOLD, seeds: Sequence[int] = (11, 12)) -> Iterator[Result]:
    """Yield the figures asked for; nothing where the data is not there."""
    if not turns():
        return
    mean = lambda by_turn: float(np.nanmean([by_turn[k] for k in told]))  # noqa: E731 - said once, used thrice
    done: dict[str, dict[str, dict[int, float]]] = {}

    def of(what: str) -> dict[str, dict[int, float]]:
        if what not in done:
            done[what] = rates(*_split(what))
        return done[what]

    for name in names:
        parts = name.split(".")
        what = parts[-1]
        if parts[1] == "rate":
            yield Result(name, mean(of(what)["plots"]) / FALSE_BOXES_A_TURN, "of design rate", "design", 1.0, None)
        elif parts[1].startswith("boxes"):
            place = parts[1].partition("_")[2] or "boxes"
            yield Result(name, mean(of(what)[place]), "of design rate", "design", 1.0, None)
        else:
            scale, bits = _split(what)
            moving, case = parts[2] == "moving", int(parts[3][-1])
            measured = max(mean(of(what)["plots"]), 1.0)
            ours = half_db(
                partial(found_share, case=case, moving=moving, scale=scale, bits=bits, seeds=seeds, told=told)
            )
            best = half_db(
                partial(clairvoyant_share, case=case, moving=moving, plots_a_turn=measured, seeds=seeds, told=told)
            )
            yield Result(name, ours - best, "dB over clairvoyant", "clairvoyant", best, None)
