"""What a stranger wrote into a name is text on a page, and what was not given is no empty place."""

from __future__ import annotations

import html
from datetime import UTC

import jinja2
import pytest

from moonless.pages import filled
from moonless.passage.brief.content import Banner, Heading, PageSheet, Paragraph, Rows, Scopes, Table

HOSTILE = "<script>alert('x')</script>&\""


def _brief(*blocks: object) -> str:
    return filled(
        "moonless.passage.brief",
        "page.html.jinja",
        title=HOSTILE,
        blocks=blocks,
        kind=lambda block: type(block).__name__,
        png_url=lambda png: "data:,",
    )


@pytest.mark.parametrize(
    "block",
    [
        Heading(HOSTILE), Paragraph(HOSTILE), Banner(HOSTILE, (HOSTILE,)), Table((HOSTILE,), ((HOSTILE,),)),
        Rows(HOSTILE, (HOSTILE,)), Scopes(((HOSTILE, b"", (HOSTILE,)),)), PageSheet((Paragraph(HOSTILE),)),
    ],
)  # fmt: skip
def test_a_hostile_name_is_text(block: object) -> None:
    sheet = _brief(block)
    assert "<script" not in sheet
    # Once in the title, and again in the block.
    assert html.unescape(sheet).count(HOSTILE) >= 2


def test_what_was_not_given_is_an_error() -> None:
    with pytest.raises(jinja2.UndefinedError, match="found"):
        filled("moonless.debrief", "page.html.jinja", zone=UTC)
