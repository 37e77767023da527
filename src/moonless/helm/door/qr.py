"""An address as a QR code: for a terminal, and as a drawing in ink that is night's."""

from __future__ import annotations

import io


def in_terminal(text: str) -> str:
    """Return a QR code of half blocks, two rows a line."""
    import segno

    out = io.StringIO()
    segno.make(text, error="m", micro=False).terminal(out, compact=True, border=2)
    return out.getvalue()


def as_svg(text: str, light: str, dark: str) -> str:
    """Return a QR code as SVG.  ``light`` is the ground: a reader wants the dark modules darker than it."""
    import segno

    made = segno.make(text, error="m", micro=False)
    return str(made.svg_inline(scale=6, border=4, dark=dark, light=light, omitsize=False))
