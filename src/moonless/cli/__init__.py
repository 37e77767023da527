"""The commands.  Each lives in its own file and is imported only when it is asked for."""

from __future__ import annotations

import importlib
import sys

import click

from moonless import __version__
from moonless.errors import MoonlessError

# Name, and the sentence shown in the list of commands; the file is moonless/cli/<name>.py, its object `command`.
COMMANDS: dict[str, str] = {
    "demo": "Show the helm, live, on the invented waters.",
    "helm": "Keep the watch: the helm on your own chart, radar and instruments.",
    "read": "Turn a recording or a live feed into readings, one JSON line a scan.",
    "predict": "Draw what the radar should show from a place.",
    "scene": "Make a whole run from a scene file: radar video, NMEA lines, truth.",
    "plan": "Plan tonight's run along a route: dark, water, dangers, lights, radar, pace.",
    "learn": "Learn from recordings what stands there, what is gone, where boats anchor.",
    "lights": "The lights this boat must show; what a set of lights seen can be.",
    "picture": "Read a radar from the picture of its screen: a photo, a video, a camera.",
    "screens": "List the paired screens; invite one; let one go.",
    "private": "Say what is kept of yours; gather it in one file; forget it.",
    "practice": "Learn the radar by day: exercises on made pictures, marked and remembered.",
    "debrief": "Look back on a run: track, meetings, orders, hidden water, what to practise.",
    "share": "Make a recording fit to be given away: cut, thinned, moved, without names.",
    "doctor": "Say what is connected, what is stale, what is missing.",
}

CAUTION = (
    "An aid, not a look-out: Rule 5 stays yours, by sight and hearing. Not for navigation. "
    "Local regulations and licensed practice come first."
)


class _Commands(click.Group):
    """Imports a command when it is asked for, and turns every error of ours into one plain line and exit 2."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        room = "keeping." if cmd_name in ("screens", "private") else ""
        found = importlib.import_module(f"moonless.cli.{room}{cmd_name}").command
        if not isinstance(found, click.Command):
            raise TypeError(f"moonless.cli.{cmd_name}.command is not a command")
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        # Written from the table, so that --help imports nothing heavy.
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        asked = args[0] if args else ""
        if asked and not asked.startswith("-") and asked not in COMMANDS:
            raise click.UsageError(f"there is no command {asked!r}; the commands are {', '.join(COMMANDS)}")
        return super().resolve_command(ctx, args)


@click.group(
    cls=_Commands,
    epilog=CAUTION,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)
@click.version_option(__version__, prog_name="moonless")
def group() -> None:
    """Read radar, position and chart together, for a small boat under way in the dark."""


def main(argv: list[str] | None = None) -> None:
    """Run a command line; the one place where errors become a plain line on standard error."""
    try:
        code = group.main(args=argv, prog_name="moonless", standalone_mode=False)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.Abort:
        click.echo("stopped", err=True)
        sys.exit(130)
    except click.exceptions.NoArgsIsHelpError as problem:
        # `moonless` alone asks what there is: the whole help, as it is set.
        click.echo(problem.ctx.get_help() if problem.ctx is not None else group.help, err=True)
        sys.exit(2)
    except click.ClickException as problem:
        click.echo(f"moonless: {_one_line(problem.format_message())}", err=True)
        sys.exit(2)
    except MoonlessError as problem:
        click.echo(f"moonless: {_one_line(str(problem))}", err=True)
        sys.exit(2)
    except MemoryError:
        click.echo("moonless: this is more than the computer's memory holds", err=True)
        sys.exit(2)
    except BrokenPipeError:
        # `moonless read ... | head`: the reader has gone and there is nobody left to tell.
        sys.stderr.close()
        sys.exit(0)
    sys.exit(code if isinstance(code, int) else 0)


def _one_line(text: str) -> str:
    return " ".join(text.split())
