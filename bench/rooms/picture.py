"""A radar by its screen, against where it was drawn: ``python -m bench picture [PART...]``.

Screens are drawn in the invented layouts of `bench.screens.layouts` and seen through the made camera of
`bench.screens.camera`; real video, where MOONLESS_DATA has it, is drawn in the same way and is its own truth.

    places      position of places on the scope, pixels of the screen, and heading of the picture, degrees: layouts,
                six resolutions and tilts to 35 degrees; how many were refused, and ranges taken wrongly
    loss        dB more that a point echo needs to be read back than to be drawn; how much more of the scope is lit
    speed       ms for a frame of 1280 x 720 laid, and for all that is done with one of a screen that is swept; peer
                pycatzao's decode of a turn of 2048 x 1024 in the same run
    chain       macro F1 of scenes by their screen, peer the same by CAT240: those that were chosen on, and others
    real        share of the strong cells of real video that are read back within two cells
    run         a whole run of real video by its screen and a camera, by the data's own scorer: moving and still vessels
                held of those that the video shows, echoes told a turn; peer the same turns by CAT240
    range       the same with half the range told: turns until the chart's coast has put it right
"""

from __future__ import annotations

import itertools
import os
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bench.result import Result
from bench.screens.camera import hand_held, take
from bench.screens.echoes import TAU, made_echo, place_errors
from bench.screens.layouts import LAYOUTS, Layout
from bench.screens.run import OnScreen, polar_of, turns_on_screen
from bench.screens.screen import FIRST_LEVEL, Shown, draw_screen
from moonless.clock import steady_s
from moonless.constants import NAUTICAL_MILE_M
from moonless.picture.geometry.edges import Picture
from moonless.picture.geometry.find import NoScope
from moonless.picture.lay import Layer
from moonless.picture.look import look
from moonless.picture.stream import PictureStream
from moonless.picture.told import Told
from moonless.units import NS_PER_S

NAMES = ("picture",)
TAKES_REST = True
PARTS = ("places", "loss", "speed", "chain", "real", "run", "range")
SIZES = ((854, 480), (960, 540), (1280, 720), (1600, 900), (1920, 1080), (2560, 1440))
TILTS = (0.0, 10.0, 20.0, 30.0, 35.0)
SCALES = (0.5, 0.75, 1.5, 3.0, 6.0, 12.0)
SCENES = ("crossing-traffic", "quiet")
# On other layouts too; nothing was chosen on these.
HELD_SCENES = ("overtaking-in-shadow", "buoy-dragged", "river")
HELD_LAYOUT = 2
CHAIN_TURNS = 48
# What was chosen was chosen on the pictures before this.
FIRST_SEED = 200
LOSS_PICTURES = 4
SWEPT_FRAMES = 20
STRAIT_NM, HALF_RANGE_S = 680 * 11.0 / NAUTICAL_MILE_M, 240.0
RUN_LAYOUT = "plum"  # north-up, as the set of the real runs is


def run(names: Sequence[str], rest: Sequence[str] = ()) -> Iterator[Result]:
    """Yield the figures of the parts asked for, all when none is."""
    wrong = [part for part in rest if part not in PARTS]
    if wrong:
        raise SystemExit(f"picture has no part {wrong[0]!r}; it has {', '.join(PARTS)}")
    work = {
        "places": places, "loss": loss, "speed": speed, "chain": chain, "real": real, "run": real_run,
        "range": half_range,
    }  # fmt: skip
    for part in rest or PARTS:
        yield from work[part]()


def places() -> Iterator[Result]:
    """Every layout at every resolution, the tilts in turn."""
    errors: list[float] = []
    bows: list[float] = []
    counts: Counter[str] = Counter()
    for number, (layout, size) in enumerate(itertools.product(LAYOUTS, SIZES), FIRST_SEED):
        scale = SCALES[number % len(SCALES)]
        heading = 0.7 * number % TAU
        screen = draw_screen(layout, Shown(made_echo(number), scale, heading, heading - 0.1))
        taken = take(screen.pixels, hand_held(number, size, TILTS[number % len(TILTS)]))
        counts["pictures"] += 1
        try:
            found = look(np.ascontiguousarray(taken.pixels[:, :, ::-1]))
        except NoScope:
            counts["refused"] += 1
            continue
        counts["read"] += 1
        if found.range_m is not None:
            counts["range taken"] += 1
            drawn_m = scale * 1852.0 * found.rings / layout.rings
            counts["range wrong"] += abs(found.range_m - drawn_m) > 0.01 * drawn_m
        counts["bow asked for"] += found.bow_rad is None
        counts["outermost ring missed"] += found.rings < layout.rings
        off, bow = place_errors(found.plane, found.rings, found.bow_rad, screen, layout, taken)
        errors += off.tolist()
        if found.bow_rad is not None:
            bows.append(abs(bow))
    yield Result("picture.places.median", float(np.median(errors)), "px of the screen")
    yield Result("picture.places.p95", float(np.percentile(errors, 95)), "px of the screen")
    yield Result("picture.bow.median", float(np.median(bows)), "deg")
    yield Result("picture.bow.worst", float(np.max(bows)), "deg")
    for what in (
        "pictures", "read", "refused", "bow asked for", "outermost ring missed", "range taken", "range wrong",
    ):  # fmt: skip
        yield Result(f"picture.{what.replace(' ', '_')}", counts[what], "pictures")


def loss() -> Iterator[Result]:
    """Point echoes from faint to strong: the strength from which they are drawn, and from which they are read back."""
    from moonless.radar.link.receiver import FULL_SCALE, counts_from_snr

    # Decibels by counts, on the curve of the made receiver.
    db = np.linspace(-10.0, 60.0, 1401)
    counts = np.asarray(counts_from_snr(10.0 ** (db / 10.0)), dtype=np.float64)
    assert FULL_SCALE == 255
    losses, more = [], []
    for number, layout in enumerate(LAYOUTS):
        peaks: list[float] = []
        read: list[bool] = []
        for k in range(LOSS_PICTURES):
            at = number + len(LAYOUTS) * k
            echo, targets = point_echoes(at)
            screen = draw_screen(layout, Shown(echo, 3.0))
            taken = take(screen.pixels, hand_held(1000 + at, SIZES[2 + (number + k) % 4], TILTS[(number + k) % 5]))
            picture = np.ascontiguousarray(taken.pixels[:, :, ::-1])
            scan = _laid(picture, layout)
            if scan is None:
                continue
            peaks += [t[2] for t in targets]
            read += [_is_read(scan.echo, t[0], t[1] * scan.drawn) for t in targets]
            lit = float(np.mean(screen.strength[screen.strength >= 0] > 0))
            more.append(float(np.mean(scan.echo > 0)) - lit)
        if peaks:
            drawn = np.array(peaks) >= FIRST_LEVEL * 255.0
            of = np.array(peaks)
            losses.append(_half(of, np.array(read), db, counts) - _half(of, drawn, db, counts))
    yield Result("picture.loss.median", float(np.median(losses)), "dB")
    yield Result("picture.loss.worst", float(np.max(losses)), f"dB, of {len(losses)} layouts")
    yield Result("picture.loss.lit_more", float(np.mean(more)), "of the scope, mean")


def _laid(picture: Picture, layout: Layout) -> _Laid | None:
    """Return the turn that a picture gives; None where it is refused or its bow is not found."""
    try:
        found = look(picture)
        # A box shows a ring beyond the range.
        found = replace(found, range_m=3.0 * NAUTICAL_MILE_M * found.rings / layout.rings)
    except NoScope:
        return None
    if found.bow_rad is None or found.rings < layout.rings:
        return None
    scan = Layer.make(found).lay(picture)
    return _Laid(scan.echo, layout.rings / found.rings)


@dataclass(frozen=True, slots=True)
class _Laid:
    echo: NDArray[np.uint8]
    drawn: float  # of its range the screen's own range is this share


def point_echoes(seed: int) -> tuple[NDArray[np.uint8], list[tuple[float, float, float]]]:
    """Return a made turn of 60 point echoes in noise, and of each (azimuth, share of the range, highest count).

    Half of them lie within a few decibels of what the screens draw at all.
    """
    rng = np.random.default_rng(seed)
    n, m = 1024, 512
    azimuth, reach = np.arange(n)[:, None] / n * TAU, np.arange(m)[None, :] / m
    echo = rng.exponential(6.0, (n, m))
    targets = []
    for k in range(60):
        at, away = (k * 2.399963) % TAU, 0.25 + 0.68 * k / 60.0
        peak = float(rng.uniform(20.0, 255.0) if k % 2 else rng.uniform(24.0, 72.0))
        off = (azimuth - at + np.pi) % TAU - np.pi
        shape = np.exp(-((off / 0.02) ** 2) - ((reach - away) / 0.007) ** 2)
        echo = np.maximum(echo, peak * shape)
        targets.append((at, away, peak))
    return np.clip(echo, 0, 255).astype(np.uint8), targets


def _is_read(echo: NDArray[np.uint8], at: float, away: float) -> bool:
    n, m = echo.shape
    row, column = round(at / TAU * n), round(away * m)
    rows = np.arange(row - 4, row + 5) % n
    return bool((echo[rows][:, max(column - 3, 0) : column + 4] > 0).sum() >= 3)


def _half(
    peaks: NDArray[np.float64], seen: NDArray[np.bool_], db: NDArray[np.float64], counts: NDArray[np.float64]
) -> float:
    """Return the strength, dB, that parts seen from unseen with fewest errors."""
    best = min(np.unique(peaks), key=lambda limit: int(np.sum((peaks >= limit) != seen)))
    return float(np.interp(best, counts, db))


def speed() -> Iterator[Result]:
    """One frame read when the screen is known, and pycatzao's decode, in turn."""
    import pycatzao

    from moonless.wire.cat240 import encode_video

    layout = replace(LAYOUTS[0], size=(1280, 720))
    picture = np.ascontiguousarray(draw_screen(layout, Shown(made_echo(1), 3.0)).pixels[:, :, ::-1])
    layer = Layer.make(look(picture, Told(range_nm=3.0)))
    rng = np.random.default_rng(240)
    stream = b"".join(
        encode_video(
            (rng.integers(0, 60, 1024) + 150 * (rng.random(1024) < 0.1)).astype(np.uint8),
            azimuth_start_rad=i * TAU / 2048, azimuth_end_rad=(i + 1) * TAU / 2048, cell_m=7.5, sequence=i,
            time_ns=i * 1_200_000,
        )
        for i in range(2048)
    )  # fmt: skip
    mine, theirs = [], []
    for _ in range(15):
        begin = steady_s()
        layer.lay(picture)
        middle = steady_s()
        pycatzao.decode(stream)
        mine.append(middle - begin)
        theirs.append(steady_s() - middle)
    yield Result("picture.frame", 1e3 * min(mine), "ms", "pycatzao", 1e3 * min(theirs), min(theirs) / min(mine))
    # All that is done for a frame of a screen that is swept: rings, figures, bow, boxes, marks, spokes.
    door, whole = PictureStream(Told(range_nm=3.0)), []
    for k in range(SWEPT_FRAMES):
        shown = Shown(made_echo(2 + k // 5), 3.0, older=made_echo(1 + k // 5), sweep_rad=k % 5 / 5.0 * TAU)
        seen = np.ascontiguousarray(draw_screen(layout, shown).pixels[:, :, ::-1])
        begin = steady_s()
        door.put(seen, k * NS_PER_S // 2)
        whole.append(steady_s() - begin)
    one = float(np.median(whole[2:]))
    yield Result("picture.door", 1e3 * one, "ms a frame, all of it", "pycatzao", 1e3 * min(theirs), min(theirs) / one)


def chain() -> Iterator[Result]:
    """Scenes by their screen, twice a second, against the same turns by CAT240."""
    yield from _chain("chain", SCENES, 0)
    yield from _chain("chain.held", HELD_SCENES, HELD_LAYOUT)


def _chain(name: str, scenes: Sequence[str], first_layout: int) -> Iterator[Result]:
    from bench.scenes.built_in import play, scene_files
    from bench.scenes.figures import macro_f1
    from bench.scenes.stage import BuiltIn
    from moonless.scene.file import load_scene
    from moonless.scene.player import ScenePlayer

    class First(BuiltIn):
        screen: OnScreen | None = None

        def turns(self):  # type: ignore[no-untyped-def]
            turns = itertools.islice(super().turns(), CHAIN_TURNS)
            return turns if self.screen is None else turns_on_screen(turns, self.screen)

    both: list[Counter[tuple[str, str]]] = [Counter(), Counter()]
    for number, path in enumerate(scene_files(scenes), first_layout):
        for k in range(2):
            stage = First(ScenePlayer(load_scene(path)))
            if k:
                stage.screen = OnScreen(LAYOUTS[number % len(LAYOUTS)], stage.scene.radar.scale_nm)
            both[k] += play(stage).kinds.confusion
    ours, peer = macro_f1(both[1]), macro_f1(both[0])
    if ours is not None and peer is not None:
        yield Result(f"picture.{name}.f1", ours, "1", "CAT240", peer, ours / peer)


def real() -> Iterator[Result]:
    """A turn of each real run, drawn and read back."""
    from moonless.wire.cat240 import Cat240Decoder

    folder = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar"
    for number, one in enumerate(sorted(p for p in folder.glob("*") if (p / "radar.cat240").is_file())):
        blocks: list[bytes] = []
        Cat240Decoder(on_block=blocks.append).feed((one / "radar.cat240").read_bytes())
        echo = polar_of(tuple((0, b) for b in blocks[40 * 720 : 41 * 720]))
        layout = LAYOUTS[(2 + 3 * number) % len(LAYOUTS)]
        screen = draw_screen(layout, Shown(echo, 3.0))
        taken = take(screen.pixels, hand_held(500 + number, (1920, 1080), 20.0))
        picture = np.ascontiguousarray(taken.pixels[:, :, ::-1])
        found = look(picture, Told(range_nm=3.0))
        if found.bow_rad is None:
            continue
        scan = Layer.make(found).lay(picture)
        m = scan.echo.shape[1]
        # A box shows a ring beyond the range: so many cells of the run lie within as many of the picture.
        column = np.arange(m) * echo.shape[1] * found.rings // (m * layout.rings)
        true = (echo[:, np.minimum(column, echo.shape[1] - 1)] >= 170) & (column < echo.shape[1])
        near = np.zeros_like(true)
        for down, out in itertools.product(range(-2, 3), repeat=2):
            near |= np.roll(np.roll(scan.echo > 0, down, 0), out, 1)
        yield Result(f"picture.real.{one.name}", float(np.mean(near[true & scan.shown])), "of strong cells")


def real_run() -> Iterator[Result]:
    """A run of real video, painted on a north-up screen and looked at by a camera on a bracket."""
    import json
    import tempfile

    from bench.at_sea.real import open_water, read_run, scorer_of, told_a_turn
    from bench.screens.real_run import lines_by_screen

    folder = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar"
    scorer = scorer_of(folder)
    layout = next(one for one in LAYOUTS if one.name == RUN_LAYOUT)
    for one in sorted(p for p in folder.glob("*") if (p / "radar.cat240").is_file()):
        reach_nm = json.loads((one / "truth.json").read_text(encoding="utf-8"))["max_range_m"] / NAUTICAL_MILE_M
        with tempfile.TemporaryDirectory() as temporary:
            by_file = read_run(one, Path(temporary) / "file.jsonl")
        by_screen, _ = lines_by_screen(one, layout, reach_nm)
        ours, peer = (scorer.score(one, _turns(lines)) for lines in (by_screen, by_file))
        for group in ("moving", "still"):
            mine, its = ours[group]["seen_of_shown"], peer[group]["seen_of_shown"]
            if mine is not None and its:
                yield Result(f"picture.run.{one.name}.{group}", mine, "of shown", "CAT240", its, mine / its)
        mine, its = told_a_turn(ours), told_a_turn(peer)
        yield Result(f"picture.run.{one.name}.told", mine, "a turn", "CAT240", its, its / mine)
        mine, its = open_water(ours), open_water(peer)
        yield Result(f"picture.run.{one.name}.open_water", mine, "a turn", "CAT240", its, its / max(mine, 1e-9))
        mine, its = ours["moving"]["id_switches_per_100"], peer["moving"]["id_switches_per_100"]
        yield Result(f"picture.run.{one.name}.switches", mine, "per 100", "CAT240", its)


def half_range() -> Iterator[Result]:
    """The strait's run with half its range told: in which turn it is said that it is not so."""
    from bench.screens.real_run import lines_by_screen

    folder = Path(os.environ.get("MOONLESS_DATA", "../shared/data")) / "real-radar" / "01_001"
    if not (folder / "radar.cat240").is_file():
        return
    layout = next(one for one in LAYOUTS if one.name == RUN_LAYOUT)
    lines, _ = lines_by_screen(folder, layout, STRAIT_NM, HALF_RANGE_S, STRAIT_NM / 2.0)
    turns = _turns(lines)
    said = [k for k, line in enumerate(turns, 1) if any("True ranges are 2 times" in c["say"] for c in line["calls"])]
    yield Result("picture.range.put_right", said[0] if said else float("nan"), f"turns of {len(turns)}")


def _turns(lines: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the lines of a run without those in which nothing could be said yet."""
    first = next((k for k, line in enumerate(lines) if line["echoes"]), 0)
    return lines[first:]
