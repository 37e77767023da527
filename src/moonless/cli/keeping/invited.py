"""What a person does with an invitation, on a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from moonless.helm.door.pairing import Invitation


def on_this_computer(address: str, host: str) -> str:
    """Return the address to open on the helm's own computer, which needs no pairing where it asks itself."""
    from moonless.helm.web.serve import is_loopback

    scheme, _, rest = address.partition("://")
    return address if is_loopback(host) else f"{scheme}://127.0.0.1:{rest.strip('/').rpartition(':')[2]}/"


def invited(address: str, invitation: Invitation) -> None:
    """Print the code, and the QR code that says the same."""
    from moonless.helm.door.pages import SAYS, pair_address, spaced
    from moonless.helm.door.pairing import INVITED_S
    from moonless.helm.door.qr import in_terminal

    click.echo(
        f"For one screen that {SAYS[invitation.role]}, for {INVITED_S // 60} minutes: open {address}pair on it "
        f"and type {spaced(invitation.code)}, or let its camera read this:"
    )
    click.echo(in_terminal(pair_address(address, invitation)))
