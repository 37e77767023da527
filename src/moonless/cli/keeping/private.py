"""``moonless private``: what is kept of the user's, in one file to take away, or gone."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import click

from moonless.errors import InputError
from moonless.files import not_written, replacing

_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    epilog="\b\nExamples:\n"
    "  moonless private                           (what is kept, and where)\n"
    "  moonless private --gather mine.zip         (all of it in one file, for you alone)\n"
    "  moonless private --forget                  (all of it gone; asks first)"
)
@click.option("--gather", type=_FILE, metavar="FILE.zip", help="Put it in one file.")
@click.option("--forget", is_flag=True, help="Remove it.")
@click.option("--yes", is_flag=True, help="Do not ask before it is removed.")
def command(gather: Path | None, forget: bool, yes: bool) -> None:
    """Say what Moonless keeps of yours; gather it in one file; forget it.

    That is: settings and the boat, routes, local knowledge, what was practised and learned, paired screens, and what
    was made of your charts to be quick. Recordings, plans and files that you named yourself lie where you put them
    and are not touched. Keys of paired screens are kept as hashes alone; what is gathered leaves them out.
    """
    from moonless.folders import cache_folder, data_folder, screens_file, settings_folder

    folders = {"settings": settings_folder(), "data": data_folder(), "cache": cache_folder()}
    files = {name: _below(folder) for name, folder in folders.items()}
    if yes and not forget:
        raise InputError("--yes goes with --forget")
    if gather is not None:
        wanted = [
            (path, f"{name}/{path.relative_to(folders[name])}")
            for name in ("settings", "data")
            for path in files[name]
            if path != screens_file()
        ]
        if not wanted:
            raise InputError("there is nothing of yours to gather")
        if gather.exists():
            raise InputError(f"{gather} is there already; it is not written over, give another name")
        try:
            with (
                replacing(gather, private=True) as draft,
                zipfile.ZipFile(draft, "x", zipfile.ZIP_DEFLATED, strict_timestamps=False) as out,
            ):
                for path, name in wanted:
                    out.write(path, name)
        except OSError as problem:
            raise not_written(gather, problem) from problem
        click.echo(f"{len(wanted)} of your files: {gather}")
    if forget:
        there = [folder for name, folder in folders.items() if folder.exists()]
        if not there:
            click.echo("Nothing of yours is kept.")
            return
        if not yes:
            count = sum(len(found) for found in files.values())
            how_many = f"{count} file{'s' if count != 1 else ''}"
            click.confirm(f"Remove {how_many} in {', '.join(map(str, there))}?", abort=True)
        for folder in there:
            if not folder.exists():  # it lay below the one before
                continue
            try:
                shutil.rmtree(folder)
            except OSError as problem:
                raise InputError(f"{folder}: cannot be removed whole: {problem.strerror or problem}") from problem
            click.echo(f"{folder} is gone.")
        click.echo("Recordings and plans lie where you put them. A helm that runs keeps what it has in memory.")
    if gather is None and not forget:
        for name, folder in folders.items():
            size = sum(path.stat().st_size for path in files[name])
            click.echo(f"{name:9} {len(files[name]):5} files {size / 1e6:9.1f} MB  {folder}")


def _below(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
