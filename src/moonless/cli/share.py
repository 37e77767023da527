"""``moonless share``: a recording made fit to be given away."""

from __future__ import annotations

from pathlib import Path

import click

from moonless.cli.parts.bar import bar
from moonless.cli.parts.figures import Bounded, check_outputs
from moonless.errors import InputError

_FILE = click.Path(dir_okay=False, path_type=Path)
# A day and more: no run is longer.
_MOST_MIN = 100_000.0
MOST_TURNS = 1000


@click.command(
    epilog="\b\nExamples:\n"
    "  moonless share run.mcap --out shared.mcap\n"
    "  moonless share run.mcap --out shared.mcap --from 12.5 --to 20 --turns 4 --begin 2001-01-01T00:00Z"
)
@click.argument("recording", metavar="RUN.mcap", type=click.Path(path_type=Path))
@click.option("--out", type=_FILE, required=True, help="The recording to give away; nothing may be there yet.")
@click.option("--from", "from_min", type=Bounded(0.0, _MOST_MIN), default=0.0, metavar="MINUTES",
              help="Begin so long after the run began.")  # fmt: skip
@click.option("--to", "to_min", type=Bounded(0.0, _MOST_MIN), metavar="MINUTES", help="End so long after it began.")
@click.option("--turns", "one_in", type=click.IntRange(1, MOST_TURNS), default=1, metavar="N",
              help="Thin it: of N turns of the antenna, and of N readings, keep one.")  # fmt: skip
@click.option("--no-radar", is_flag=True, help="Leave the radar video out; the readings stay.")
@click.option("--begin", metavar="TIME", help="Move all times so that the run begins then; UTC unless it says else.")
@click.option("--boat", "boat_file", type=_FILE, help="Boat file: her MMSI is known from it.")
@click.option("--quiet", is_flag=True, help="No progress and no summary.")
def command(
    recording: Path,
    out: Path,
    from_min: float,
    to_min: float | None,
    one_in: int,
    no_radar: bool,
    begin: str | None,
    boat_file: Path | None,
    quiet: bool,
) -> None:
    """Make a recording that can be shared: cut, thinned, moved to another place, with nobody's name in it.

    Positions are moved to an ocean as one, MMSIs, names and call signs are replaced, texts are left out. What was
    written is then searched for whatever the original held; if anything is left, nothing is kept. The radar's picture
    of a coast stays what it is: who knows the coast may know it again.
    """
    from zoneinfo import ZoneInfo

    from moonless.boat.file import read_boat
    from moonless.passage.words import parse_time
    from moonless.share.share import Wanted, share
    from moonless.units import NS_PER_S

    if not recording.is_file():
        raise InputError(f"{recording} is {'a folder' if recording.is_dir() else 'not there'}; give a recording")
    check_outputs({"--out": out})
    if to_min is not None and to_min <= from_min:
        raise InputError(f"--to {to_min:g} is not after --from {from_min:g}")
    begins_ns = None if begin is None else round(parse_time(begin, ZoneInfo("UTC")) * NS_PER_S)
    mmsi = None if boat_file is None else read_boat(boat_file).mmsi
    wanted = Wanted(
        from_min * 60.0, None if to_min is None else to_min * 60.0, one_in, not no_radar, begins_ns, mmsi
    )  # fmt: skip
    with bar(quiet) as show:
        done = share(recording, out, wanted, show)
    if not quiet:
        click.echo(
            f"{out}: {done.seconds / 60.0:.1f} min, {done.readings} readings, {done.turns} turns of radar, "
            f"{done.stations} AIS stations under other numbers; nothing of the original was found in it"
        )
        if done.turns:
            click.echo("The radar's picture of the coast is in it: who knows the coast may know it again.")
