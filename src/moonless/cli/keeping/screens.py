"""``moonless screens``: which screens may talk to the helm from other machines."""

from __future__ import annotations

import click

from moonless.cli.keeping.invited import invited
from moonless.errors import InputError


@click.command(
    epilog="\b\nExamples:\n"
    "  moonless screens                    (which are paired)\n"
    "  moonless screens --invite act       (a code and a QR code for one more, for ten minutes)\n"
    "  moonless screens --invite look      (for one that only looks)\n"
    "  moonless screens --let-go 4f1a      (refused from now on, also while it is connected)"
)
@click.option("--invite", type=click.Choice(["act", "look"]), help="Print a code for one more screen.")
@click.option("--let-go", "gone", multiple=True, metavar="NUMBER", help="Refuse a screen from now on.")
@click.option("--let-all-go", is_flag=True, help="Refuse every screen from now on.")
def command(invite: str | None, gone: tuple[str, ...], let_all_go: bool) -> None:
    """List the screens that may talk to the helm from other machines; invite one more; let one go.

    A helm that runs takes note within a second; it need not be started anew.
    """
    from moonless.folders import screens_file
    from moonless.helm.door.pages import SAYS
    from moonless.helm.door.pairing import ROLES, Pairings

    pairings = Pairings(screens_file())
    screens = pairings.screens
    if pairings.problem is not None:
        raise InputError(pairings.problem)
    if let_all_go:
        gone = tuple(screen.id for screen in screens)
    missing = [number for number in gone if number not in {screen.id for screen in screens}]
    if missing:
        raise InputError(f"no screen {missing[0]!r} is paired; `moonless screens` lists them")
    if invite is not None and not pairings.address:
        raise InputError("no helm of yours has listened for other machines yet: start one with --host 0.0.0.0")
    for number in dict.fromkeys(gone):
        click.echo(f"{pairings.let_go(number).name} is refused from now on.")
    for role in ROLES:
        if role == invite:
            invited(pairings.address, pairings.invite(role))
    if invite is None and not gone and not let_all_go:
        for screen in screens:
            click.echo(f"{screen.id}  {screen.name}: {SAYS[screen.role]}; paired {screen.paired[:16]}Z")
        if not screens:
            click.echo("No screen is paired.")
