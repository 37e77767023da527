"""``moonless demo``: the helm, in a browser, on the invented waters."""

from __future__ import annotations

import contextlib
import threading
import webbrowser
from pathlib import Path

import click

from moonless.cli.parts.figures import Bounded

DEFAULT_PORT = 8440


@click.command()
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(0, 65535), help="0: any free one.")
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on; on another than this machine's own, screens are paired once.",
)
@click.option("--speed", default=1.0, show_default=True, type=Bounded(0.25, 16.0), help="Times as fast as life.")
@click.option(
    "--scene", type=click.Path(exists=True, dir_okay=False, path_type=Path), help="Another scene file than the story."
)
@click.option("--no-browser", is_flag=True, help="Do not open a browser; only print the address.")
def command(port: int, host: str, speed: float, scene: Path | None, no_browser: bool) -> None:
    """Show the helm, live, on the invented waters: made radar, made instruments, not for navigation.

    \b
    Examples:
        moonless demo
        moonless demo --port 9000 --no-browser --speed 4
    """
    from moonless.cli.keeping.invited import invited, on_this_computer
    from moonless.folders import practice_file, screens_file
    from moonless.helm.door.pairing import Pairings
    from moonless.helm.practice.process import PracticeOutfit, PracticeProcess
    from moonless.helm.process.play_jobs import DemoJob
    from moonless.helm.process.worker_process import WorkerProcess
    from moonless.helm.web.app import check_built
    from moonless.helm.web.boat_json import boat_json
    from moonless.helm.web.serve import serve
    from moonless.scene.file import demo_folder, load_scene

    check_built()
    path = scene or demo_folder() / "story.toml"
    source = WorkerProcess("demo", DemoJob(path, speed), boat_json(load_scene(path).boat))

    # The chart and the kernels are under way while the server still starts.
    source.begin()

    def opened(address: str) -> None:
        click.echo(f"The helm is at {address}   (Ctrl-C ends it)")
        click.echo("The chart shows at once; the radar needs a moment, longer on the very first start.")
        if not no_browser:
            threading.Thread(target=_show, args=(on_this_computer(address, host),), daemon=True).start()

    paired = Pairings(screens_file())
    scene_of = load_scene(path)
    practice = PracticeProcess(lambda: PracticeOutfit(scene_of.boat, scene_of.waters.paths, practice_file()))
    serve(source, host=host, port=port, on_open=opened, on_invite=invited, pairings=paired, practice=practice)


def _show(address: str) -> None:
    # No browser here, or none that can be driven: the printed address is enough.
    with contextlib.suppress(Exception):
        webbrowser.open(address)
