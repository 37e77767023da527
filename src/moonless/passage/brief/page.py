"""The brief as one HTML page that loads nothing: day ink, or red on black where the reader chooses it."""

from __future__ import annotations

from datetime import tzinfo

from moonless.pages import filled, png_url
from moonless.passage.brief.content import Block, brief
from moonless.passage.brief.picture import departure_svg
from moonless.passage.types import Plan
from moonless.units import DistanceUnit


def page(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    """Return the whole brief."""
    drawn = departure_svg(plan.departures, plan.depart_s, zone) if plan.departures else ""
    blocks = brief(plan, zone, unit, drawn)
    return filled(__package__, "page.html.jinja", title=plan.route.name, blocks=blocks, kind=_kind, png_url=png_url)


def _kind(block: Block) -> str:
    return type(block).__name__
