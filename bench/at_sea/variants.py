"""Variants of a real run: the same water seen by another set, another boat, or with something missing.

Each takes a `RealRun` and returns another.  None of them invents an echo: they take away, turn, scale and shift what
was received.  ``noisy`` alone adds some, drawn with a fixed seed.  Where the world itself is moved (mirrored), truth
and what the video shows move with it.
"""

from __future__ import annotations

import math
import re
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from bench.at_sea.variant_run import LEVEL_2, RealRun, clock_of, mirrored_chart, reworded, taken, turn_of

Variant = Callable[[RealRun], RealRun]
ELSEWHERE = Path(__file__).parents[2] / "src/moonless/data/demo/waters.gpkg"
SEED = 11
# A receiver 3 dB noisier behind the same threshold: of a hundred cells that lay under it these come to each level.
NOISE_OF_LEVEL = (0.03, 0.006, 0.0012)
M_PER_DEG = 111_320.0


def _levels(*counts: int, bits: int = 8) -> Variant:
    """Return the variant whose levels 0 85 170 255 are these counts of eight bits."""

    def of(run: RealRun) -> RealRun:
        table = np.zeros(256, dtype=np.uint8)
        table[[0, 85, LEVEL_2, 255]] = counts
        return replace(run, video=table[run.video], marked=counts[2], bits=bits)

    return of


def mirrored(run: RealRun) -> RealRun:
    """East for west, and time backwards: so the antenna still turns clockwise and every vessel keeps her way.

    The boat's own heading is turned about, that she goes ahead.
    """
    span = float(run.time_s[0] + run.time_s[-1])
    lon0 = run.truth["origin"]["lon"]
    truth = _mirrored_truth(run.truth, span)
    video = replace(
        run, time_s=(span - run.time_s)[::-1], azimuth_deg=np.mod(-(run.azimuth_deg + run.width_deg), 360.0)[::-1],
        video=run.video[::-1], truth=truth,
    )  # fmt: skip
    blobs = tuple(
        (span - t, b * [-1, 1, -1, 1, 1, 1] + [span, 0, 0, 0, 0, 0]) for t, b in reversed(run.blobs)
    )  # fmt: skip
    sentences: list[list[str]] = []  # a fix and what is said after it
    group: list[str] = []
    for line in run.nmea:
        if line[3:6] == "RMC" and group:
            sentences.append(group)
            group = []
        group.append(line)
    sentences.append(group)

    def word(f: list[str]) -> list[str]:
        if f[0][3:] == "RMC":
            f[1] = _clock(span - clock_of(",".join(f)))
            lon = 2 * lon0 - _of_dm(f[5], f[6])
            f[5], f[6] = _dm(lon, 3, "EW")
            f[8] = f[8] and f"{(180.0 - float(f[8])) % 360.0:.1f}"
        elif f[0][3:] == "HDT":
            f[1] = f"{(180.0 - float(f[1])) % 360.0:.1f}"
        return f

    lines = tuple(line for group in reversed(sentences) for line in group)
    chart = mirrored_chart(run.chart, lon0, Path(tempfile.mkdtemp()) / "mirrored.gpkg")
    boat = _boat(run.boat, "bow_offset_deg", lambda v: -v)
    return reworded(replace(video, blobs=blobs, nmea=lines, chart=chart, shore=chart, boat=boat), word)


def _mirrored_truth(truth: dict[str, Any], span: float) -> dict[str, Any]:
    out = {**truth, **{k: -truth[k] for k in ("bearing_bias_deg", "bow_offset_deg")}}
    own = truth["own"]
    out["own"] = {
        "t": [span - t for t in reversed(own["t"])], "x": [-x for x in reversed(own["x"])],
        "y": own["y"][::-1], "heading_deg": [(180.0 - h) % 360.0 for h in reversed(own["heading_deg"])],
    }  # fmt: skip
    out["vessels"] = [
        {**v, "t": [span - t for t in reversed(v["t"])], "x": [-x for x in reversed(v["x"])], "y": v["y"][::-1]}
        for v in truth["vessels"]
    ]
    return out


def _boat(text: str, key: str, change: Callable[[float], float]) -> str:
    return re.sub(rf"(?m)^{key} = (\S+)", lambda m: f"{key} = {change(float(m[1]))}", text)


def _clock(seconds: float) -> str:
    whole = round(seconds * 100)
    return f"{whole // 360000:02d}{whole // 6000 % 60:02d}{whole % 6000 / 100:05.2f}"


def _of_dm(text: str, side: str) -> float:
    at = text.index(".") - 2
    return (int(text[:at]) + float(text[at:]) / 60.0) * (-1.0 if side in "WS" else 1.0)


def _dm(value_deg: float, digits: int, sides: str) -> tuple[str, str]:
    whole = int(abs(value_deg))
    minutes = (abs(value_deg) - whole) * 60.0
    return f"{whole:0{digits}d}{minutes:08.5f}", sides[0] if value_deg >= 0 else sides[1]


def every_second_spoke(run: RealRun) -> RealRun:
    """Spokes of a degree: two neighbours in one, the stronger of both."""
    n = len(run.time_s) // 2 * 2
    joined = run.video[:n].reshape(n // 2, 2, -1).max(axis=1)
    half = taken(run, np.arange(0, n, 2))
    return replace(half, video=joined, width_deg=2 * run.width_deg)


def jittered(run: RealRun) -> RealRun:
    """One spoke in twenty lost, one in fifty sent twice."""
    draw = np.random.default_rng(SEED).random(len(run.time_s))
    return taken(run, np.repeat(np.arange(len(draw)), np.where(draw < 0.05, 0, np.where(draw > 0.98, 2, 1))))


def short_scale(run: RealRun) -> RealRun:
    """The outer half cut off."""
    truth = {**run.truth, "max_range_m": run.truth["max_range_m"] / 2.0, "n_cell": run.video.shape[1] // 2}
    return replace(run, video=run.video[:, : run.video.shape[1] // 2], truth=truth)


def blind_near(run: RealRun) -> RealRun:
    """Nothing within a tenth of the range, and nothing over 40 degrees abaft."""
    video = run.video.copy()
    video[:, : video.shape[1] // 10] = 0
    own = run.truth["own"]
    heading = np.interp(run.time_s, own["t"], np.unwrap(own["heading_deg"], period=360.0))
    video[np.abs((run.azimuth_deg - heading) % 360.0 - 180.0) < 20.0] = 0
    return replace(run, video=video)


def turned(degrees: float) -> Variant:
    """Return the variant whose compass, and so whose picture, is out by this much."""

    def of(run: RealRun) -> RealRun:
        def word(f: list[str]) -> list[str]:
            if f[0][3:] == "HDT":
                f[1] = f"{(float(f[1]) + degrees) % 360.0:.1f}"
            return f

        truth = {**run.truth, "bearing_bias_deg": run.truth["bearing_bias_deg"] + degrees}
        blobs = tuple((t, np.add(b, (0, 0, degrees, 0, 0, 0))) for t, b in run.blobs)
        azimuth = np.mod(run.azimuth_deg + degrees, 360.0)
        return reworded(replace(run, azimuth_deg=azimuth, truth=truth, blobs=blobs), word)

    return of


def mounted_askew(run: RealRun) -> RealRun:
    """The picture 45 degrees round, and the boat file says so; the plain tracker is told it too."""
    truth = {**run.truth}
    truth["bearing_bias_deg"] += 45.0
    truth["bow_offset_deg"] -= 45.0
    blobs = tuple((t, np.add(b, (0, 0, 45.0, 0, 0, 0))) for t, b in run.blobs)
    boat = _boat(run.boat, "bow_offset_deg", lambda v: v - 45.0)
    return replace(run, azimuth_deg=np.mod(run.azimuth_deg + 45.0, 360.0), truth=truth, blobs=blobs, boat=boat)


def position_off(run: RealRun) -> RealRun:
    """A receiver 25 m out, to the north-east; for the plain tracker too."""
    off = 25.0 / math.sqrt(2.0)

    def word(f: list[str]) -> list[str]:
        if f[0][3:] == "RMC":
            lat = _of_dm(f[3], f[4])
            f[3], f[4] = _dm(lat + off / M_PER_DEG, 2, "NS")
            f[5], f[6] = _dm(_of_dm(f[5], f[6]) + off / (M_PER_DEG * math.cos(math.radians(lat))), 3, "EW")
        return f

    own = run.truth["own"]
    shifted = {**own, "x": [x + off for x in own["x"]], "y": [y + off for y in own["y"]]}
    return reworded(replace(run, plain_own=shifted), word)


def half_as_fast(run: RealRun) -> RealRun:
    """An antenna of 12 turns a minute: of two turns the east half of the first and the west half of the second.

    Each spoke is said to come when the slow antenna would have pointed there, at most a quarter of the slow turn off.
    """
    turns = turn_of(run)
    whole = int(turns[-1]) // 2 * 2
    half = np.maximum.accumulate(np.unwrap(run.azimuth_deg, period=360.0)) // 180.0 % 2
    slow = taken(run, (turns % 2 == half) & (turns < whole))
    starts = run.time_s[np.searchsorted(turns, np.arange(0, whole + 1, 2))]
    at = np.maximum.accumulate(np.unwrap(slow.azimuth_deg, period=360.0)) / 360.0
    at -= at[0] // 1.0
    blobs = []
    for (t, east_ones), (_, west_ones) in zip(run.blobs[0:whole:2], run.blobs[1:whole:2], strict=True):
        both = np.concatenate((east_ones[east_ones[:, 2] < 180.0], west_ones[west_ones[:, 2] >= 180.0]))
        blobs.append((t + 0.25 * float(np.diff(starts).mean()), both))
    truth = {**run.truth, "n_turn": len(blobs)}
    boat = _boat(run.boat, "rotation_rpm", lambda v: v / 2)
    times = np.interp(at, np.arange(len(starts)), starts)
    return replace(slow, time_s=times, truth=truth, blobs=tuple(blobs), boat=boat)


def noisy(run: RealRun) -> RealRun:
    """Cells of noise over the set's threshold, two neighbours along the range at a time (a pulse)."""
    draw = np.random.default_rng(SEED)
    video = run.video.copy()
    for share, level in zip(NOISE_OF_LEVEL, (85, LEVEL_2, 255), strict=True):
        hit = draw.random(video.shape, dtype=np.float32) < share / 2
        hit[:, 1:] |= hit[:, :-1]
        np.maximum(video, np.where(hit, np.uint8(level), np.uint8(0)), out=video)
    return replace(run, video=video)


def elsewhere(run: RealRun) -> RealRun:
    """A chart of other waters only: none of these."""
    return replace(run, chart=ELSEWHERE)


def without(*kinds: str) -> Variant:
    """Return the variant whose sentences of these kinds are not there."""
    return lambda run: reworded(run, lambda f: None if f[0][3:] in kinds else f)


def head_up(late_s: float = 0.0, each_s: float = 0.0) -> Variant:
    """Return the variant whose angles are from the bow, with the heading said so late and so seldom."""

    def of(run: RealRun) -> RealRun:
        own = run.truth["own"]
        heading = np.unwrap(own["heading_deg"], period=360.0)
        azimuth = np.mod(run.azimuth_deg - np.interp(run.time_s, own["t"], heading), 360.0)
        boat = run.boat.replace('angle_from = "true"', 'angle_from = "bow"')
        out, now, told = [], 0.0, -math.inf
        for line in run.nmea:
            if line[3:6] == "RMC":
                now = clock_of(line)
            if line[3:6] != "HDT":
                out.append(line)
            elif now - told >= each_s:
                told = now
                out.append(f"$HEHDT,{np.interp(now - late_s, own['t'], heading) % 360.0:.1f},T*00")
        return reworded(replace(run, azimuth_deg=azimuth, boat=boat, nmea=tuple(out)), lambda f: f)

    return of


VARIANTS: dict[str, Variant] = {
    "as_it_is": lambda run: run,
    "mirrored": mirrored,
    "four_bits": _levels(0, 80, 160, 240, bits=4),
    "one_bit": _levels(0, 0, 255, 255),
    "one_bit_low": _levels(0, 255, 255, 255),
    "gain_up": _levels(0, 128, 255, 255),
    "gain_down": _levels(0, 42, 85, 128),
    "root": _levels(0, 147, 208, 255),
    "squared": _levels(0, 28, 113, 255),
    "every_second_spoke": every_second_spoke,
    "jittered": jittered,
    "short_scale": short_scale,
    "blind_near": blind_near,
    "heading_plus_3": turned(3.0),
    "heading_minus_3": turned(-3.0),
    "mounted_askew": mounted_askew,
    "position_off": position_off,
    "half_as_fast": half_as_fast,
    "noisy": noisy,
    "no_chart": elsewhere,
    "no_heading": without("HDT"),
    "head_up": head_up(),
    "head_up_late": head_up(1.0, 1.0),
    "no_position": without("RMC"),
}
