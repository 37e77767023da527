"""``moonless learn``: what recordings teach, kept, proposed, and accepted into local knowledge."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from moonless.cli.parts.bar import bar
from moonless.cli.parts.many import ManyCommand
from moonless.errors import InputError
from moonless.files import write_whole

if TYPE_CHECKING:
    from moonless.memory.store import Store
    from moonless.memory.summary import Run
    from moonless.memory.teaching.lessons import Lessons
    from moonless.memory.work import ReduceJob

_FILE = click.Path(dir_okay=False, path_type=Path)
MOST_WORKERS = 256  # own choice


@click.command(
    cls=ManyCommand,
    epilog="\b\nExamples:\n"
    "  moonless learn runs/*.mcap --boat boat.toml\n"
    "  moonless learn runs/ --chart charts/ --boat boat.toml --anew --workers 4\n"
    "  moonless learn --accept 1,3\n"
    "  moonless learn s3://club/runs/ --store s3://club/learned --cluster tcp://scheduler:8786\n"
    "  moonless learn --with club/learned --gpkg water.gpkg --geojson water.geojson",
)
@click.argument("recordings", nargs=-1, metavar="[RUN.mcap...]")
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--boat-name", metavar="NAME", help="Whose runs these are; without it, as the boat file says.")
@click.option("--chart", "charts", multiple=True, type=click.Path(path_type=Path), metavar="PATH...",
              help="Charts, for recordings without readings or with --anew.")  # fmt: skip
@click.option("--anew", is_flag=True, help="Read the radar again instead of taking the readings that were recorded.")
@click.option("--store", "place", metavar="FOLDER", help="Where summaries are kept: a folder, or any fsspec path.")
@click.option("--with", "others", multiple=True, metavar="FOLDER...", help="Take in what others have learned.")
@click.option("--workers", type=click.IntRange(1, MOST_WORKERS), help="Processes; without it, one for each core.")
@click.option("--cluster", metavar="ADDRESS", help="A Dask scheduler to give the work to: tcp://HOST:PORT.")
@click.option("--accept", metavar="NUMBERS", help="Put these of the listing, or all, into local knowledge.")
@click.option("--knowledge", type=_FILE, help="The local knowledge that --accept writes; without it, the helm's own.")
@click.option("--gpkg", type=_FILE, help="Also write what was learned as a GeoPackage.")
@click.option("--geojson", "geojson_file", type=_FILE, help="Also write it as GeoJSON.")
@click.option("--quiet", is_flag=True, help="No progress and no listing.")
def command(
    recordings: tuple[str, ...],
    boat_file: Path | None,
    boat_name: str | None,
    charts: tuple[Path, ...],
    anew: bool,
    place: str | None,
    others: tuple[str, ...],
    workers: int | None,
    cluster: str | None,
    accept: str | None,
    knowledge: Path | None,
    gpkg: Path | None,
    geojson_file: Path | None,
    quiet: bool,
) -> None:
    """Learn from recordings what stands there, what is gone, where boats anchor.

    Each recording becomes a small summary, kept in a folder of your own; a recording that was learned already is not
    learned twice.  What all summaries together teach is listed as proposals.  Nothing goes into local knowledge but
    what --accept names.  Without recordings what was learned so far is told.
    """
    from moonless.boat.file import read_boat
    from moonless.folders import learned_folder
    from moonless.memory.columns import arrow
    from moonless.memory.store import Store
    from moonless.memory.work import ReduceJob

    arrow()
    if accept is not None and recordings:
        raise InputError("--accept goes with the listing as it stood: give it without recordings")
    if cluster is not None and workers is not None:
        raise InputError("give either --workers or --cluster, not both")
    if knowledge is not None and accept is None:
        raise InputError("--knowledge says where --accept writes; give both")
    for path in (gpkg, geojson_file, knowledge):
        if path is not None and not path.parent.is_dir():
            raise InputError(f"{path}: there is no folder {path.parent}")
    if boat_file is not None:
        read_boat(boat_file)  # what is wrong with it is said before any work is given out
    for path in charts:
        if not path.exists():
            raise InputError(f"{path} is not there; give charts by file or folder")
    store = Store(str(learned_folder()) if place is None else place)
    files = [one for given in recordings for one in _recordings_at(given)]
    job = ReduceJob(
        None if boat_file is None else str(boat_file.resolve()), tuple(str(p.resolve()) for p in charts),
        boat_name or "", anew,
    )  # fmt: skip
    problems = _learn(store, job, files, workers or os.cpu_count() or 1, cluster, quiet) if files else []
    for other in others:
        n_new = store.take_in(_other(other))
        if not quiet:
            click.echo(f"{other}: {n_new} runs that were not known here", err=True)
    runs, lessons = _taught(store)
    if not quiet:
        _tell(lessons, runs)
    if accept is not None:
        _accept(lessons, runs, accept, knowledge, quiet)
    if gpkg is not None:
        from moonless.memory.export import write_geopackage

        write_geopackage(gpkg, lessons, runs)
    if geojson_file is not None:
        from moonless.memory.export import geojson

        write_whole(geojson_file, json.dumps(geojson(lessons, runs), ensure_ascii=False, allow_nan=False))
    if files and len(problems) == len(files):
        raise InputError("none of the recordings could be read; what was wrong is told above")


def _recordings_at(given: str) -> list[str]:
    """Return the recordings a word names: itself, or all in a folder.  Raises InputError for what is not there."""
    from moonless.memory.store import file_system

    if "://" in given:
        if given.endswith(".mcap"):
            return [given]
        system = file_system(given)
        scheme = given.split("://", 1)[0]
        try:
            found = system.ls(given, detail=False)
        except Exception as problem:  # what a remote place raises is its own: one plain line of it
            said = " ".join(str(problem).split())[:160] or type(problem).__name__
            raise InputError(f"{given} cannot be listed: {said}") from problem
        names = sorted(str(name) for name in found if str(name).endswith(".mcap"))
        out = [
            name if "://" in name else f"{scheme}://{name.lstrip('/') if scheme != 'file' else name}" for name in names
        ]
    else:
        path = Path(given)
        if path.is_file():
            return [given]
        if not path.is_dir():
            raise InputError(f"{given} is not there; give recordings or folders of them")
        out = sorted(str(p) for p in path.iterdir() if p.suffix == ".mcap")
    if not out:
        raise InputError(f"{given} holds no recording (*.mcap)")
    return out


def _other(place: str) -> Store:
    from moonless.memory.store import Store

    other = Store(place)
    if not other.files():
        raise InputError(f"--with {place}: nothing was learned there")
    return other


def _learn(store: Store, job: ReduceJob, files: list[str], workers: int, cluster: str | None, quiet: bool) -> list[str]:
    """Reduce recordings and keep their summaries; return what could not be read."""
    from moonless.memory.work import over_cluster, over_cores

    # Asked to read anew, what was learned already is read anew too.
    known = frozenset() if job.anew else frozenset(store.runs())
    kept: set[str] = set(known)
    n_new = n_known = 0
    problems: list[str] = []
    with bar(quiet) as show:
        show(f"{len(files)} recordings", 0.0)
        done = (
            over_cores(job, files, known, min(workers, len(files)))
            if cluster is None
            else over_cluster(job, files, known, cluster)
        )
        for count, outcome in enumerate(done, start=1):
            if outcome.problem is not None:
                problems.append(outcome.problem)
                click.echo(f"passed by: {outcome.problem}", err=True)
            elif outcome.summary is None or outcome.number in kept:
                n_known += 1
            else:
                store.put(outcome.summary)
                kept.add(outcome.summary.run.number)
                n_new += 1
            show(f"{count} of {len(files)} recordings", count / len(files))
    if not quiet:
        click.echo(f"{n_new} learned, {n_known} known already, {len(problems)} passed by", err=True)
    return problems


def _taught(store: Store) -> tuple[dict[str, Run], Lessons]:
    from moonless.memory.teaching.teach import teach

    runs = store.runs()
    return runs, teach(runs, store.summaries())


def _tell(lessons: Lessons, runs: dict[str, Run]) -> None:
    from moonless.memory.export import CAUTION
    from moonless.units import iso_utc

    if not runs:
        click.echo("Nothing was learned yet: give recordings.")
        return
    boats = "one boat" if lessons.boats == 1 else f"{lessons.boats} boats"
    first, last = min(r.begins_ns for r in runs.values()), max(r.ends_ns for r in runs.values())
    click.echo(f"{lessons.runs} runs of {boats}, {iso_utc(first)[:10]} to {iso_utc(last)[:10]}")
    for why in lessons.left_out.values():
        click.echo(f"  not counted: {why}")
    if not lessons.proposals:
        click.echo("Nothing is proposed: it takes three runs that saw a thing, and two that missed a mark.")
    for number, one in enumerate(lessons.proposals, start=1):
        click.echo(f"{number:>3}  {_place(one.lat_deg, one.lon_deg)} ±{one.sigma_m:.0f} m  {one.say}")
    ways, unseen = len(lessons.ways), len(lessons.unseen)
    click.echo(
        f"{ways} cells that vessels use, {unseen} that this radar never saw into, each 111 m (--geojson has them)"
    )
    click.echo(CAUTION)


def _place(lat: float, lon: float) -> str:
    """Return degrees and minutes to a thousandth, as charts are read."""
    parts = []
    for value, width, sides in ((lat, 2, "NS"), (lon, 3, "EW")):
        degrees, minutes = divmod(round(abs(value) * 60_000), 60_000)
        parts.append(f"{degrees:0{width}d}°{minutes / 1000:06.3f}'{sides[value < 0]}")
    return " ".join(parts)


def _accept(lessons: Lessons, runs: dict[str, Run], asked: str, path: Path | None, quiet: bool) -> None:
    from moonless.chart.local_knowledge.knowledge import Knowledge
    from moonless.folders import knowledge_file
    from moonless.memory.accept import accept, chosen

    proposals = chosen(lessons, asked)
    if not proposals:
        raise InputError("--accept all: nothing is proposed yet")
    where = knowledge_file() if path is None else path
    n_new, n_old = accept(Knowledge.open(where), proposals, runs)
    if not quiet:
        click.echo(f"{where}: {n_new} entries new, {n_old} brought up to date", err=True)
