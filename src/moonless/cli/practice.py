"""``moonless practice``: the radar learned by day, on made pictures of the demo's waters or of one's own charts."""

from __future__ import annotations

import contextlib
import json
import threading
import webbrowser
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.places import PLACE
from moonless.errors import InputError

if TYPE_CHECKING:
    from moonless.helm.practice.room import PracticeRoom
    from moonless.practice.types import Exercise
    from moonless.practice.waters import PracticeWaters

_FILE = click.Path(dir_okay=False, path_type=Path)
DEFAULT_PORT = 8441


@click.command(
    epilog="\b\nExamples:\n"
    "  moonless practice\n"
    "  moonless practice --chart charts/ --boat boat.toml --at 42.352,-71.035\n"
    "  moonless practice --list\n"
    "  moonless practice --step hidden --seed 5 --png asked.png\n"
    '  moonless practice --step hidden --seed 5 --answer "it would show" --png answered.png\n'
    "  moonless practice --run run.mcap --chart charts/ --boat boat.toml\n"
    "  moonless practice --progress"
)
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH",
              help="Chart file or folder, may be given again; the demo's invented waters unless told.")  # fmt: skip
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--at", "place", type=PLACE, help="Where on the charts to practise.")
@click.option("--run", "runs", multiple=True, type=_FILE, metavar="RUN.mcap",
              help="A recording of your own, may be given again: what you saw by eye on it is asked.")  # fmt: skip
@click.option("--knowledge", type=_FILE,
              help="Local knowledge: what it has is put into exercises; with --chart, your own.")  # fmt: skip
@click.option("--record", type=_FILE, help="Where the answers are kept, instead of your own record.")
@click.option("--list", "is_list", is_flag=True, help="Say the steps of the ladder.")
@click.option("--progress", "is_progress", is_flag=True, help="Say what is held, what is due, what you are ready for.")
@click.option("--step", help="Make one exercise of this step here, without a browser; own: of your own recordings.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=0, show_default=True, help="Of the exercise.")
@click.option("--png", "png_file", type=_FILE, help="Write its picture; with --answer, with the truth laid over.")
@click.option("--json", "json_file", type=_FILE, help="Write question, or mark, as JSON.")
@click.option(
    "--answer", help="NM,DEG (range, relative bearing), figures, a word, gain=,sea=,rain=,range=, LAT,LON or ?"
)
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser; only print the address.")
def command(
    charts: tuple[Path, ...],
    boat_file: Path | None,
    place: tuple[float, float] | None,
    runs: tuple[Path, ...],
    knowledge: Path | None,
    record: Path | None,
    is_list: bool,
    is_progress: bool,
    step: str | None,
    seed: int,
    png_file: Path | None,
    json_file: Path | None,
    answer: str | None,
    port: int,
    no_browser: bool,
) -> None:
    """Practise reading the radar: the page in a browser, or one exercise here.

    Made pictures, practice and never a licence. Learn the radar by day, where every echo can be checked by eye.
    """
    from moonless.boat.file import default_boat, read_boat
    from moonless.folders import knowledge_file, practice_file
    from moonless.scene.file import demo_folder

    if step is None and (png_file or json_file or answer is not None):
        raise InputError("--png, --json and --answer go with --step")
    kept = record or practice_file()
    if is_list:
        _say_ladder()
        return
    if is_progress:
        _say_progress(kept)
        return
    boat = read_boat(boat_file) if boat_file is not None else default_boat()
    # Over the demo's waters, which are invented, one's own knowledge has no place.
    known = knowledge or (knowledge_file() if charts else None)
    for path in (*charts, *runs, *(() if knowledge is None else (knowledge,))):
        if not path.exists():
            raise InputError(f"{path}: there is no such file or folder")
    if step is not None:
        from moonless.helm.practice.room import PracticeRoom

        room = PracticeRoom(charts or (demo_folder() / "waters.gpkg",), boat, kept, place, runs=runs, knowledge=known)
        _one(room, step, seed, answer, png_file, json_file)
        return
    from moonless.helm.practice.process import PracticeOutfit
    from moonless.helm.practice.serve import serve_practice

    def opened(address: str) -> None:
        click.echo(f"Practice is at {address}   (Ctrl-C ends it)")
        click.echo("The first exercise takes a moment, longer on the very first start.")
        if not no_browser:
            threading.Thread(target=_show, args=(address,), daemon=True).start()

    serve_practice(PracticeOutfit(boat, tuple(charts), kept, place, runs, known), port=port, on_open=opened)


def _show(address: str) -> None:
    # No browser here, or none that can be driven: the printed address is enough.
    with contextlib.suppress(Exception):
        webbrowser.open(address)


def _say_ladder() -> None:
    from moonless.practice.ladder import LADDER

    for step in LADDER:
        click.echo(f"{step.key:15} {step.title}: {step.teaches}")
        click.echo(f"{'':15} by day: {step.by_day}")


def _say_progress(kept: Path) -> None:
    from moonless.clock import SystemClock
    from moonless.helm.practice.body import progress_body
    from moonless.practice.store import read_answers

    body = progress_body(read_answers(kept), SystemClock().now_ns())
    for one in body["steps"]:
        if not one["answers"]:
            click.echo(f"{one['key']:15} {one['word']}{'' if one['open'] else ', not open yet'}")
            continue
        due = "due now" if one["is_due"] else f"due in {_time(one['due_in_h'])}"
        click.echo(
            f"{one['key']:15} {one['word']}: right in {one['low']:.0%} to {one['high']:.0%} "
            f"(of {one['answers']} answers, 90 % interval), {due}"
        )
    for level in body["levels"]:
        word = "ready to try" if level["ready"] else f"wants {', '.join(level['wants'][:3])}" + (
            "" if len(level["wants"]) <= 3 else f" and {len(level['wants']) - 3} more")  # fmt: skip
        click.echo(f"{level['to_try']}: {word}")
    click.echo(f"next: {body['next']}")
    click.echo(body["caution"])


def _time(hours: float) -> str:
    return f"{hours * 60:.0f} min" if hours < 1.0 else f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24:.0f} days"


def _one(
    room: PracticeRoom, step: str, seed: int, answer: str | None, png_file: Path | None, json_file: Path | None
) -> None:
    from moonless.files import Drafts
    from moonless.helm.practice.body import exercise_body, marked_body, read_answer, verdict
    from moonless.practice.overlay import overlay
    from moonless.practice.picture import image

    exercise, waters = room.own.exercise(seed) if step == "own" else room.make(step, seed)
    body = exercise_body(exercise, waters)
    given = None if answer is None else read_answer(_parsed(answer, exercise, waters), exercise, waters)
    if given is not None and not given.is_withheld:
        # Refused before anything is written.
        exercise.key.worth(given)
    with Drafts() as drafts:
        if png_file is not None:
            drawn = None
            if exercise.pictures is not None:
                last = exercise.pictures.last
                drawn = overlay(waters, (last.east_m, last.north_m), exercise.pictures.scale_nm * 1852.0)
            image(exercise, drawn, solved=given is not None).save(drafts.path(png_file), format="PNG")
        if given is not None:
            marked = room.take(exercise, waters, given)
            body = marked_body(exercise, waters, given, marked)
        if json_file is not None:
            drafts.text(json_file).write(json.dumps(body, ensure_ascii=False, indent=1) + "\n")
    if given is None:
        click.echo(exercise.asks)
        for line in exercise.told:
            click.echo(line)
        if exercise.words:
            click.echo("One of: " + "; ".join(exercise.words))
        click.echo(f"Or ?: {exercise.withheld_words}")
    else:
        click.echo(f"{verdict(marked)} {marked.points:.0%} of what was to be had.")
        click.echo(exercise.because)


def _parsed(text: str, exercise: Exercise, waters: PracticeWaters) -> dict[str, object]:
    """Return the answer of a command line as the page would send it."""
    import math

    from moonless.constants import NAUTICAL_MILE_M
    from moonless.helm.practice.body import origin_of

    form = exercise.key.form
    if text.strip() == "?":
        return {"withheld": True}
    if form == "word":
        return {"word": text.strip()}
    try:
        if form == "knobs":
            pairs = dict(part.split("=") for part in text.replace(" ", "").split(","))
            knobs = {name: float(value) for name, value in pairs.items()}
            return {"knobs": {"scale_nm": knobs.pop("range"), **knobs}}
        numbers = [float(part) for part in text.split(",")]
    except (ValueError, KeyError):
        raise InputError(f"{text!r} is no answer to this: {_wanted(form)}") from None
    if form == "figures":
        return {"figures": numbers}
    if len(numbers) != 2:
        raise InputError(f"{text!r} is no answer to this: {_wanted(form)}")
    if form == "chart":
        east, north = waters.chart.frame.to_plane(*numbers)
        origin = origin_of(exercise, waters)
        return {"touch": [float(east) - origin[0], float(north) - origin[1]]}
    assert exercise.pictures is not None
    range_m = numbers[0] * NAUTICAL_MILE_M
    bearing = exercise.pictures.last.heading_rad + math.radians(numbers[1])
    return {"touch": [range_m * math.sin(bearing), range_m * math.cos(bearing)]}


def _wanted(form: str) -> str:
    return {
        "touch": "RANGE_NM,RELATIVE_BEARING_DEG, as 0.8,120",
        "chart": "LAT,LON in degrees",
        "figures": "figures with commas between, as 0.8,120",
        "knobs": "gain=60,sea=20,rain=0,range=1.5",
    }[form] + ', or "?" to leave it open'
