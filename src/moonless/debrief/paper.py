"""The debrief as a PDF, set by typst: the same content as the page, in day ink."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import shapely

from moonless.debrief.drawing import meeting_map, strips, track_map
from moonless.debrief.ledger import Ledger
from moonless.debrief.page import OPEN, PICTURED, chart_rows, chosen_calls
from moonless.debrief.report import CAUTION
from moonless.debrief.scopes import Scope
from moonless.debrief.types import Debrief
from moonless.debrief.words import Words, answered_words, followed_words, level_words, passed_words, radar_words, short
from moonless.errors import InputError

_HEAD = """
#set page(paper: "a4", margin: 1.6cm, footer: context [#text(8pt)[Not evidence, and not for navigation.
#h(1fr) #counter(page).display()]])
#set text(size: 9.5pt)
#set table(stroke: (x: none, y: 0.4pt + luma(180)), inset: (x: 3pt, y: 3pt))
#show heading.where(level: 2): set block(above: 1.2em)
"""


def pdf_bytes(
    run: Ledger,
    found: Debrief,
    words: Words,
    land: shapely.Geometry | None = None,
    scopes: Mapping[int, Scope] | None = None,
) -> bytes:
    """Return the debrief as PDF.  Raises InputError if the setting program is not installed."""
    try:
        import typst
    except ImportError:
        raise InputError("a PDF needs the typst package: pip install 'moonless[paper]', or --out for HTML") from None
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        drawn = {"track.svg": track_map(run, found, land), "time.svg": strips(run, chart_rows(run), words.minute)}
        for number, one in enumerate(found.meetings[:PICTURED], start=1):
            drawn[f"meeting{number}.svg"] = meeting_map(run, one, land)
        for name, svg in drawn.items():
            # A setter of paper knows no colours of a page: ink is black, and what is loud red.
            ink = (
                svg.replace("currentColor", "#111")
                .replace("var(--loud,#a00)", "#a00")
                .replace("var(--sheet,#fff)", "#fff")
            )
            (root / name).write_text(ink, encoding="utf-8")
        for number, one in enumerate(found.meetings[:PICTURED], start=1):
            scope = (scopes or {}).get(one.closest_ns)
            if scope is not None:
                (root / f"scope{number}.png").write_bytes(scope.png)
        names = {path.name for path in root.iterdir()}
        (root / "debrief.typ").write_text(_source(found, words, names), encoding="utf-8")
        return bytes(typst.compile(str(root / "debrief.typ"), root=str(root)))


def _source(found: Debrief, words: Words, names: set[str]) -> str:
    parts = [_HEAD, f"= The run of {_t(words.date(found.begins_ns))}", ""]
    parts += [f"{_t(found.boat)}, from {_t(found.source)}. {_t(CAUTION)}", "", "== In short"]
    parts.append(_table("(5.5cm, 1fr)", None, [list(pair) for pair in short(found, words)]))
    parts.append("== What to practise next")
    parts += [f"+ *{_t(p.what)}*: {_t(p.because)}" for p in found.practise] or ["No reason for anything in particular."]
    parts += ["== The track", '#image("track.svg", width: 100%)', "== Over time", '#image("time.svg", width: 100%)']
    if found.meetings:
        parts.append("== Vessels met")
    for number, one in enumerate(found.meetings, start=1):
        when = words.clock(one.closest_ns) + (OPEN if one.is_open else "")
        cells = [
            f"*{number}. {_t(one.who)}: {_t(words.far(one.closest_m))}* at {_t(when)}, "
            f"{words.span(one.inside_s)} inside {_t(words.far(one.keep_off_m))}. {_t(one.rule)}: {_t(one.meeting)} "
            f"Done: {_t(one.done)}. Better: {_t(one.better)}."
        ]
        pictures = [n for n in (f"meeting{number}.svg", f"scope{number}.png") if n in names]
        cells += [f'#image("{name}", width: 4.6cm)' for name in pictures]
        columns = ", ".join(["1fr", *("4.8cm" for _ in pictures)])
        parts.append(f"#grid(columns: ({columns}), gutter: 8pt, {', '.join(f'[{c}]' for c in cells)})")
    if found.orders:
        rows = [[words.clock(o.first_ns), o.say, o.because, followed_words(o)] for o in found.orders]
        parts += ["== Orders", _table("(auto, 4.2cm, 1fr, auto)", ["", "order", "because", ""], rows)]
    if found.calls:
        rows = [
            [
                words.clock(c.first_ns), level_words(c, words), c.say,
                "" if c.left_s is None else f"{c.left_s:.0f} s{', late' * c.is_late}",
                answered_words(c),
            ]
            for c in chosen_calls(found)
        ]  # fmt: skip
        heads, columns = ["", "", "said", "to closest approach then", "answered"], "(auto, 3cm, 1fr, auto, auto)"
        if all(c.answered_s is None for c in found.calls):
            rows, heads, columns = [row[:4] for row in rows], heads[:4], "(auto, 3cm, 1fr, auto)"
        parts += ["== What was said", _table(columns, heads, rows)]
    parts += ["== How the radar saw", *(f"- {_t(line)}" for line in radar_words(found, words))]
    if found.plan_name is not None:
        rows = [list(passed_words(one, words)) for one in found.plan]
        heads = ["waypoint", "passed", "against the plan", ""]
        parts.append(f"== Against the plan: {_t(found.plan_name)}")
        if all(one.planned_ns is None for one in found.plan):
            parts.append("It has no times: nothing is early or late.")
        parts += [_table("(1fr, auto, auto, auto)", heads, rows)]
    if found.notes:
        parts += ["== What was assumed", *(f"- {_t(note)}" for note in found.notes)]
    return "\n".join(parts) + "\n"


def _table(columns: str, heads: Sequence[str] | None, rows: Sequence[Sequence[str]]) -> str:
    cells = [] if heads is None else [f"[*{_t(head)}*]" if head else "[]" for head in heads]
    cells += [f"[{_t(cell)}]" for row in rows for cell in row]
    return f"#table(columns: {columns}, {', '.join(cells)})"


def _t(text: str) -> str:
    """Return text with what the setter would take for its own marked as text."""
    return "".join(f"\\{c}" if c in "\\#$*_[]<>@`~=+-/" else c for c in text)
