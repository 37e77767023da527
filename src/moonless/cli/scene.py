"""``moonless scene``: make a whole run from a scene file."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    epilog="\b\nExample:\n  moonless scene crossing.toml --out run/\n  moonless scene demo --out run/    (the demo)"
)
@click.argument("scene", metavar="FILE.toml")
@click.option(
    "--out", "folder", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder to write into."
)
@click.option("--quiet", is_flag=True, help="No progress bar.")
def command(scene: str, folder: Path, quiet: bool) -> None:
    """Make a whole run from a scene file.

    Writes radar.cat240 (made radar video), nmea.nmea (position, heading, wind, depth and AIS, each line with the time
    it was sent) and truth.json (what was really there) into the folder.  The same file gives the same bytes.
    """
    from rich.console import Console
    from rich.progress import track

    from moonless.scene.file import load_scene
    from moonless.scene.player import ScenePlayer
    from moonless.scene.story import open_demo
    from moonless.scene.write import write_run

    console = Console(stderr=True)
    read = open_demo() if scene == "demo" else load_scene(Path(scene))
    player = ScenePlayer(read)
    bar = iter(track(range(player.n_turns), description=read.name, console=console, disable=quiet))

    def progress(done: int, total: int) -> None:
        next(bar, None)

    write_run(player, folder, progress)
    next(bar, None)
    click.echo(f"{folder}: {player.n_turns} turns, {player.duration_s:.0f} s of {read.name!r}")
