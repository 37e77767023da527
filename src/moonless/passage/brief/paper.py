"""The brief as a PDF, set by typst: the very blocks of the page, in day ink, nothing folded away."""

from __future__ import annotations

import tempfile
from datetime import tzinfo
from pathlib import Path

from moonless.errors import InputError
from moonless.passage.brief.content import (
    Banner,
    Block,
    Drawing,
    Fold,
    Heading,
    PageSheet,
    Paragraph,
    Rows,
    Scopes,
    Table,
    brief,
)
from moonless.passage.brief.picture import departure_svg
from moonless.passage.types import Plan
from moonless.units import DistanceUnit

_HEAD = """
#set page(paper: "a4", margin: (x: 1.3cm, y: 1.3cm), footer: context [#text(7pt)[An aid, not a look-out; not for
navigation. #h(1fr) #counter(page).display()]])
#set text(size: 8.5pt)
#set par(spacing: 0.7em)
#set table(stroke: (x: none, y: 0.4pt + luma(180)), inset: (x: 2.5pt, y: 2.2pt))
#show table: set text(size: 7.5pt)
#show heading.where(level: 2): set block(above: 0.9em, below: 0.5em)
#show heading.where(level: 3): set block(above: 0.8em, below: 0.4em)
"""
_INK = """<style>.hatch{fill:none;stroke:#777;stroke-width:.8}
.sea{fill:#eef4f8}.shoal{fill:#cfe2ee}.land{fill:#e8dfc4;stroke:#555;stroke-width:.6}
.track{fill:none;stroke:#a00;stroke-width:2}.point{fill:#a00}.mark{fill:#555}.lit{fill:none;stroke:#111;stroke-width:1.4}
.bar{fill:none;stroke:#111}text{font-size:13px;fill:#111;font-family:sans-serif}</style>"""

# How tall a drawing stands on paper, and above a table of many legs, so that they keep to one page.
DRAWING_CM, SMALL_CM, MANY_LEGS = 7.4, 5.2, 11


class _Setting:
    """Keeps the files that the source names, by number."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._number = 0
        self._drawing_cm = DRAWING_CM

    def file(self, data: bytes, suffix: str) -> str:
        self._number += 1
        name = f"part{self._number}.{suffix}"
        (self._root / name).write_bytes(data)
        return name

    def set(self, block: Block) -> str:
        match block:
            case Heading(text, level):
                return f"{'=' * level} {_t(text)}"
            case Paragraph(text, is_quiet):
                return f"#text(luma(90))[{_t(text)}]\n" if is_quiet else _t(text) + "\n"
            case Banner(title, rows):
                listed = "".join(f"\n- #text(red)[{_t(row)}]" for row in rows)
                said = f'#text(red, weight: "bold")[{_t(title)}]'
                return f"#block(stroke: 1.2pt + red, inset: 5pt, width: 100%)[{said}{listed}]"
            case Table():
                return _grid(block)
            case Rows(title, rows):
                head = f"=== {_t(title)}\n" if title else ""
                return head + "".join(f"{'' if row.startswith('☐') else '- '}{_t(row)} \\\n" for row in rows) + "\n"
            case Scopes(pictures):
                cells = []
                for title, png, words in pictures:
                    said = f"#text(7pt)[*{_t(title)}* \\ {_t('; '.join(words))}]"
                    cells.append(f'[#image("{self.file(png, "png")}", width: 100%) {said}]')
                return f"#grid(columns: (1fr, 1fr, 1fr), gutter: 6pt, {', '.join(cells)})"
            case Drawing(svg):
                inked = svg.replace(">", f">{_INK}", 1).replace('width="100%"', "").replace("currentColor", "#111")
                if "xmlns=" not in inked:
                    inked = inked.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
                name = self.file(inked.encode(), "svg")
                return f'#align(center)[#image("{name}", width: 100%, height: {self._drawing_cm}cm, fit: "contain")]'
            case PageSheet(blocks):
                legs = max((len(block.rows) for block in blocks if isinstance(block, Table)), default=0)
                self._drawing_cm = DRAWING_CM if legs <= MANY_LEGS else SMALL_CM
                return "\n".join(self.set(b) for b in blocks) + "\n#pagebreak(weak: true)"
            case Fold(title, blocks):
                return f"== {_t(title)}\n" + "\n".join(self.set(b) for b in blocks)


def pdf_bytes(plan: Plan, zone: tzinfo, unit: DistanceUnit) -> bytes:
    """Return the brief as PDF.  Raises InputError if the setting program is not installed."""
    try:
        import typst
    except ImportError:
        how = "pip install 'moonless[paper]', or use --out for HTML"
        raise InputError(f"a PDF needs the typst package: {how}") from None
    drawn = departure_svg(plan.departures, plan.depart_s, zone) if plan.departures else ""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder)
        setting = _Setting(root)
        source = _HEAD + "\n".join(setting.set(block) for block in brief(plan, zone, unit, drawn)) + "\n"
        (root / "brief.typ").write_text(source, encoding="utf-8")
        return bytes(typst.compile(str(root / "brief.typ"), root=str(root)))


def _grid(grid: Table) -> str:
    # The widest column takes what is left; the others are as wide as they need.
    width = [max([len(row[k]) for row in grid.rows] or [0]) for k in range(len(grid.heads))]
    widest = width.index(max(width))
    # A position stands on two lines, so that what is steered by has the room.
    sizes = {widest: "1fr", **{k: "2.1cm" for k, head in enumerate(grid.heads) if head == "position"}}
    columns = ", ".join(sizes.get(k, "auto") for k in range(len(grid.heads)))
    cells = [f"[*{_t(h)}*]" if h else "[]" for h in grid.heads]
    for number, row in enumerate(grid.rows):
        cells += [f"[#text(red)[{_t(c)}]]" if number in grid.loud else f"[{_t(c)}]" for c in row]
    return f"#table(columns: ({columns}), {', '.join(cells)})"


def _t(text: str) -> str:
    """Return text with everything that typst would read as markup escaped."""
    return "".join(f"\\{c}" if c in "\\#$*_`<>@~[]/=+-\"'" else c for c in text)
