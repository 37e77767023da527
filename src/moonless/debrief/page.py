"""The debrief as one HTML page: day ink on paper, red on black at night.  It loads nothing."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from moonless.debrief.drawing import meeting_map, strips, track_map
from moonless.debrief.ledger import Ledger
from moonless.debrief.report import CAUTION
from moonless.debrief.scopes import Scope
from moonless.debrief.types import Debrief
from moonless.debrief.words import Words, followed_words, passed_words, radar_words, short

# As many meetings as a person looks at; the rest stand in the table.
PICTURED = 6
MOST_CALLS = 60
OPEN = ", still closing when last told"
_LEVEL = {4: "act now", 3: "act soon", 2: "know it", 1: "in passing"}

_STYLE = """
:root { color-scheme: light dark; --ink: #111; --quiet: #555; --rule: #bbb; --sheet: #fff; --loud: #a00; }
@media screen and (prefers-color-scheme: dark) {
  :root { --ink: #b5281c; --quiet: #8a2419; --rule: #3a0d09; --sheet: #000; --loud: #f0503c; }
}
body { font: 15px/1.45 system-ui, sans-serif; color: var(--ink); background: var(--sheet); margin: 1.2rem auto;
       max-width: 56rem; padding: 0 1rem; }
h1 { font-size: 1.5rem; margin: 0 0 .2rem } h2 { font-size: 1.15rem; margin: 1.8rem 0 .4rem }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums }
th, td { text-align: left; padding: .2rem .6rem .2rem 0; border-bottom: 1px solid var(--rule); vertical-align: top }
th { font-weight: 600; color: var(--quiet) } td.word { width: min(17rem, 38%); color: var(--quiet) }
.quiet { color: var(--quiet) } .loud { color: var(--loud); font-weight: 700 }
svg { max-width: 100%; height: auto; display: block } .wide { overflow-x: auto } .wide svg { min-width: 40rem }
.meeting { break-inside: avoid-page; margin: 1rem 0 1.6rem } .meeting h3 { font-size: 1rem; margin: 0 0 .3rem }
.pair { display: flex; flex-wrap: wrap; gap: 1rem; align-items: flex-start } .pair figure { margin: 0; width: 19rem }
.pair img { width: 100% } figcaption { font-size: .85rem; color: var(--quiet) }
dl { margin: .2rem 0; flex: 1 1 16rem; min-width: 14rem } dt { color: var(--quiet); font-size: .85rem }
dd { margin: 0 0 .4rem }
@media print { body { max-width: none; margin: 0; font-size: 10pt } h2 { break-after: avoid } }
"""


def page(run: Ledger, found: Debrief, words: Words, land: Any = None, scopes: Mapping[int, Scope] | None = None) -> str:
    """Return the whole page.  ``land``: charted land in the run's frame, None where no chart was given."""
    pictures = scopes or {}
    parts = [
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(found.source)}</title>',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<style>{_STYLE}</style></head><body>",
        f"<h1>The run of {escape(words.date(found.begins_ns))}</h1>",
        f'<p class="quiet">{escape(found.boat)}, from {escape(found.source)}. {escape(CAUTION)}</p>',
        _short(found, words),
        _practise(found),
        f'<h2>The track</h2>{_legend(found, land)}<div class="wide">{track_map(run, found, land)}</div>',
        f'<h2>Over time</h2><div class="wide">{strips(run, chart_rows(run), words.minute)}</div>',
        _meetings(run, found, words, land, pictures),
        _orders(found, words),
        _calls(found, words),
        _list("How the radar saw", radar_words(found, words)),
        _marks(found, words),
        _plan(found, words),
        _list("What was assumed", found.notes),
        "</body></html>\n",
    ]
    return "\n".join(part for part in parts if part)


def _short(found: Debrief, words: Words) -> str:
    rows = "".join(f'<tr><td class="word">{escape(a)}</td><td>{escape(b)}</td></tr>' for a, b in short(found, words))
    return f"<h2>In short</h2><table>{rows}</table>"


def _practise(found: Debrief) -> str:
    if not found.practise:
        return "<h2>What to practise next</h2><p>This run gives no reason for anything in particular.</p>"
    rows = "".join(f"<li><b>{escape(p.what)}</b>: {escape(p.because)}</li>" for p in found.practise)
    return f"<h2>What to practise next</h2><ol>{rows}</ol>"


def _legend(found: Debrief, land: Any) -> str:
    told = ["Numbers are the vessels met"] if found.meetings else []
    if found.pace.over_s > 0.0:
        told.append("thick: faster than went with what was seen")
    if found.marks:
        told.append("a cross: a mark that was missing")
    if land is None:
        told.append("no chart was given, so no land is drawn")
    words = ", ".join(told)
    return f'<p class="quiet">{escape(words[:1].upper() + words[1:])}.</p>' if words else ""


def chart_rows(run: Ledger) -> list[tuple[str, list[tuple[Any, str]]]]:
    """Return what is drawn over time."""
    return [
        ("speed made, kn (dashed: advised)", [(run.sog_kn, "own"), (run.advised_kn, "her")]),
        ("range at which a small boat would be held, m", [(run.seeing_m, "own")]),
        ("radar against its own figures, dB", [(run.performance_db, "own")]),
        ("heading off, degrees", [(run.bias_deg, "own")]),
        ("position off, m east (dashed: north)", [(run.offset_east_m, "own"), (run.offset_north_m, "her")]),
        ("depth by the sounder, m", [(run.depth_m, "own")]),
    ]


def _meetings(run: Ledger, found: Debrief, words: Words, land: Any, scopes: Mapping[int, Scope]) -> str:
    if not found.meetings:
        return ""
    out = ["<h2>Vessels met</h2>"]
    for number, one in enumerate(found.meetings, start=1):
        loud = ' class="loud"' if one.closest_m < one.keep_off_m else ""
        bearing, when = words.bearing(one.bearing_deg), words.clock(one.closest_ns)
        facts = [
            ("Closest", f"{words.far(one.closest_m)}, bearing {bearing}, at {when}{OPEN if one.is_open else ''}"),
            ("Keep-off", f"{words.far(one.keep_off_m)}; inside it for {words.span(one.inside_s)}"),
            ("Risk first told", "never" if one.risk_ns is None else words.clock(one.risk_ns)),
            ("By rule", f"{one.rule}: {one.meeting}"),
            ("What was done", one.done),
            ("Better", one.better),
        ]  # fmt: skip
        told = "".join(f"<dt>{escape(a)}</dt><dd>{escape(b)}</dd>" for a, b in facts)
        pictures = ""
        if number <= PICTURED:
            pictures = f"<figure>{meeting_map(run, one, land)}<figcaption>North up. Dashed: {escape(one.who)}. Dots: "
            pictures += "half minutes. The ring: the keep-off.</figcaption></figure>"
            scope = scopes.get(one.closest_ns)
            if scope is not None:
                image = base64.b64encode(scope.png).decode("ascii")
                pictures += (
                    f'<figure><img alt="radar at {words.clock(one.closest_ns)}" src="data:image/png;base64,{image}">'
                )
                pictures += "<figcaption>The radar then, as recorded.</figcaption></figure>"
        head = f"{number}. {escape(one.who)}: <span{loud}>{words.far(one.closest_m)}</span>"
        out.append(
            f'<section class="meeting"><h3>{head}</h3><div class="pair"><dl>{told}</dl>{pictures}</div></section>'
        )
    out.append(
        '<p class="quiet">“Better” is tried against the way she truly went, from where risk was first told, on a '
        "straight course of our own; neither the chart nor other vessels were asked.</p>"
    )
    return "".join(out)


def _orders(found: Debrief, words: Words) -> str:
    if not found.orders:
        return ""
    rows = "".join(
        f"<tr><td>{words.clock(o.first_ns)}</td><td>{escape(o.say)}</td><td>{escape(o.because)}</td>"
        f"<td{' class=loud' if o.followed is False else ''}>{followed_words(o)}</td></tr>"
        for o in found.orders
    )
    head = "<tr><th></th><th>order</th><th>because</th><th></th></tr>"
    return f'<h2>Orders</h2><div class="wide"><table>{head}{rows}</table></div>'


def _calls(found: Debrief, words: Words) -> str:
    if not found.calls:
        return ""
    chosen = sorted(sorted(found.calls, key=lambda c: -c.urgency)[:MOST_CALLS], key=lambda c: c.first_ns)
    rows = "".join(
        f"<tr><td>{words.clock(c.first_ns)}</td><td>{_LEVEL.get(c.urgency, c.urgency)}</td><td>{escape(c.say)}</td>"
        f"<td{' class=loud' if c.is_late else ''}>{_left(c.left_s, c.is_late)}</td></tr>"
        for c in chosen
    )
    more = (
        f'<p class="quiet">{len(found.calls) - len(chosen)} more stand in the JSON.</p>'
        if len(chosen) < len(found.calls)
        else ""
    )
    head = "<tr><th></th><th></th><th>said</th><th>to closest approach</th></tr>"
    return f'<h2>What was said</h2><div class="wide"><table>{head}{rows}</table></div>{more}'


def _left(left_s: float | None, is_late: bool) -> str:
    return "" if left_s is None else f"{left_s:.0f} s{', late' if is_late else ''}"


def _marks(found: Debrief, words: Words) -> str:
    return _list(
        "Marks missing",
        [f"{m.name or m.object} ({m.object}), from {words.clock(m.first_ns)}, {m.looks} looks" for m in found.marks],
    )


def _plan(found: Debrief, words: Words) -> str:
    if found.plan_name is None:
        return '<h2>Against the plan</h2><p class="quiet">No plan was given (--plan).</p>'
    rows = "".join(
        "<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in passed_words(one, words)) + "</tr>"
        for one in found.plan
    )
    head = "<tr><th>waypoint</th><th>passed</th><th>against the plan</th><th></th></tr>"
    return f'<h2>Against the plan: {escape(found.plan_name)}</h2><div class="wide"><table>{head}{rows}</table></div>'


def _list(title: str, rows: Sequence[str]) -> str:
    return f"<h2>{title}</h2><ul>{''.join(f'<li>{escape(r)}</li>' for r in rows)}</ul>" if rows else ""
