"""The brief as one HTML page that loads nothing: day ink, or red on black where the reader chooses it."""

from __future__ import annotations

import base64
from datetime import tzinfo
from html import escape

from moonless.passage.brief.content import (
    Banner,
    Block,
    Drawing,
    Fold,
    Grid,
    Heading,
    Rows,
    Scopes,
    Sheet,
    Words,
    brief,
)
from moonless.passage.brief.picture import departure_svg
from moonless.passage.types import Plan
from moonless.units import DistanceUnit

_STYLE = """
:root { color-scheme: light; --ink: #111; --quiet: #555; --rule: #bbb; --sheet: #fff; --loud: #a00;
        --sea: #eef4f8; --shoal: #cfe2ee; --land: #e8dfc4; }
:root:has(#night:checked) { color-scheme: dark; --ink: #d03a2c; --quiet: #9a2a20; --rule: #3a0d09; --sheet: #000;
        --loud: #ff5a48; --sea: #000; --shoal: #1c0604; --land: #3a0d09; }
* { box-sizing: border-box }
html { background: var(--sheet) }
body { font: 15px/1.45 system-ui, sans-serif; color: var(--ink); background: var(--sheet); margin: 1rem auto;
       max-width: 64rem; padding: 0 .8rem; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem } h2 { font-size: 1.15rem; margin: 1.2rem 0 .4rem }
h3 { font-size: 1rem; margin: .9rem 0 .2rem }
.look { float: right; font-size: .9rem; padding: .4rem; cursor: pointer }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; overflow-wrap: normal }
th, td { text-align: left; padding: .2rem .5rem .2rem 0; border-bottom: 1px solid var(--rule); vertical-align: top }
th { font-weight: 600; color: var(--quiet); font-size: .85rem }
.quiet { color: var(--quiet) } .loud { color: var(--loud); font-weight: 700 }
.refused { border: 2px solid var(--loud); padding: .4rem .8rem; margin: .6rem 0 } .refused p { margin: 0 }
.scopes { display: flex; flex-wrap: wrap; gap: 1rem } figure { margin: 0; width: 17rem; max-width: 100% }
figure img { width: 100% }
:root:has(#night:checked) img { filter: grayscale(1) sepia(1) hue-rotate(-40deg) saturate(4) }
figcaption { font-size: .85rem } ul { margin: .3rem 0; padding-left: 1.2rem } ul.plain { list-style: none; padding: 0 }
details { border-top: 1px solid var(--rule); padding: .3rem 0 }
summary { cursor: pointer; font-weight: 600; padding: .3rem 0 }
svg { max-width: 100%; height: auto; display: block } svg text { fill: var(--ink); font-size: 13px }
.sea { fill: var(--sea) } .shoal { fill: var(--shoal) }
.land { fill: var(--land); stroke: var(--quiet); stroke-width: .6 }
.track { fill: none; stroke: var(--loud); stroke-width: 2 } .point { fill: var(--loud) } .mark { fill: var(--quiet) }
.lit { fill: none; stroke: var(--ink); stroke-width: 1.4 } .bar { fill: none; stroke: var(--ink) }
@media screen and (max-width: 52rem) {
  table, tbody, tr, td { display: block; width: 100% } tr.heads { display: none }
  tr { border-bottom: 2px solid var(--rule); padding: .3rem 0 }
  td { border: 0; padding: .05rem 0; display: flex; gap: .5rem }
  td::before { content: attr(data-h); color: var(--quiet); flex: 0 0 6.5rem } td:empty, td[data-h=""] { display: block }
  td[data-h=""] { font-weight: 700 } td[data-h=""]:empty { display: none }
}
@media print { .look { display: none } body { max-width: none; margin: 0; padding: 0; font-size: 9.5pt }
  .sheet { break-after: page } h2 { break-after: avoid } figure { break-inside: avoid } .sheet svg { max-height: 9cm } }
"""


def page(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> str:
    """Return the whole brief."""
    drawn = departure_svg(plan.departures, plan.depart_s, zone) if plan.departures else ""
    parts = [
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(plan.route.name)}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<style>{_STYLE}</style></head><body>",
        '<label class="look"><input type="checkbox" id="night"> night: red on black</label>',
        *(_set(block) for block in brief(plan, zone, unit, drawn)),
        "</body></html>\n",
    ]
    return "\n".join(part for part in parts if part)


def _set(block: Block) -> str:
    match block:
        case Heading(text, level):
            return f"<h{level}>{escape(text)}</h{level}>"
        case Words(text, is_quiet):
            quiet = ' class="quiet"' if is_quiet else ""
            return f"<p{quiet}>{escape(text)}</p>"
        case Banner(title, rows):
            listed = "".join(f"<li>{escape(row)}</li>" for row in rows)
            return f'<div class="refused"><p class="loud">{escape(title)}</p><ul class="loud">{listed}</ul></div>'
        case Grid():
            return _grid(block)
        case Rows(title, rows):
            listed = "".join(f"<li>{escape(row)}</li>" for row in rows)
            plain = ' class="plain"' if rows and rows[0].startswith("☐") else ""
            return (f"<h3>{escape(title)}</h3>" if title else "") + f"<ul{plain}>{listed}</ul>"
        case Scopes(pictures):
            return f'<div class="scopes">{"".join(_scope(*picture) for picture in pictures)}</div>'
        case Drawing(svg):
            return svg
        case Sheet(blocks):
            return f'<section class="sheet">{"".join(_set(b) for b in blocks)}</section>'
        case Fold(title, blocks):
            return f"<details><summary>{escape(title)}</summary>{''.join(_set(b) for b in blocks)}</details>"


def _grid(grid: Grid) -> str:
    heads = "".join(f"<th>{escape(head)}</th>" for head in grid.heads)
    body = ""
    for number, row in enumerate(grid.rows):
        loud = ' class="loud"' if number in grid.loud else ""
        cells = "".join(
            f'<td data-h="{escape(head)}">{escape(cell)}</td>' for head, cell in zip(grid.heads, row, strict=True)
        )
        body += f"<tr{loud}>{cells}</tr>"
    return f'<table><tr class="heads">{heads}</tr>{body}</table>'


def _scope(title: str, png: bytes, words: tuple[str, ...]) -> str:
    image = base64.b64encode(png).decode("ascii")
    said = "<br>".join(escape(w) for w in words)
    return (
        f'<figure><img alt="{escape(title)}" src="data:image/png;base64,{image}">'
        f"<figcaption><b>{escape(title)}</b><br>{said}</figcaption></figure>"
    )
