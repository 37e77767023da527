"""The brief as a PDF, set by typst: the very blocks of the page, in day ink, nothing folded away."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
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
.bar{fill:none;stroke:#111}text{font-size:SIZEpx;fill:#111;
font-family:sans-serif;paint-order:stroke;stroke:#fff;stroke-width:3px}</style>"""

# How tall a drawing stands on paper among other things; on a sheet of its own it takes what the rest of the page leaves
# it, from the least to the most.
DRAWING_CM, LEAST_CM, MOST_CM, PAGE_CM = 7.4, 4.2, 15.0, 18.4
# A sheet with a table of more rows is set closer, to keep to its page; what is longer still runs on.
MANY_ROWS = 20
_CLOSER = "#set text(size: 7.8pt)\n#set table(inset: (x: 2.5pt, y: 1.2pt))\n#show table: set text(size: 7.1pt)\n"
# Letters of a drawing, its own pixels: across the page, and where it stands at less than this share.
LETTERS_PX, LARGE_PX, SMALLER = 13, 20, 0.6
# A sheet: what stands before and after the drawing is measured, and the drawing has the rest of the page.
_SHEET = """
#let sheet(before, after, most, drawing) = layout(size => {
  let rest = measure(block(width: size.width)[#before #after]).height
  let tall = calc.clamp((size.height - rest - 0.8cm) / 1cm, calc.min(LEAST, most), most) * 1cm
  before
  align(center, drawing(tall))
  after
})
"""


class _Setting:
    """Keeps the files that the source names, by number."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._number = 0

    def file(self, data: bytes, suffix: str) -> str:
        self._number += 1
        name = f"part{self._number}.{suffix}"
        (self._root / name).write_bytes(data)
        return name

    def drawing(self, svg: str, letters_px: int) -> str:
        """Keep a drawing in day ink and return its file's name."""
        ink = _INK.replace("SIZE", str(letters_px))
        inked = svg.replace(">", f">{ink}", 1).replace('width="100%"', "").replace("currentColor", "#111")
        if "xmlns=" not in inked:
            inked = inked.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
        return self.file(inked.encode(), "svg")

    def _sheet(self, blocks: Sequence[Block]) -> str:
        rows = max((len(block.rows) for block in blocks if isinstance(block, Table)), default=0)
        closer = _CLOSER if rows > MANY_ROWS else ""
        k = next((k for k, block in enumerate(blocks) if isinstance(block, Drawing)), None)
        if k is None:
            return f"#[{closer}" + "\n".join(self.set(b) for b in blocks) + "]"
        drawn = blocks[k]
        assert isinstance(drawn, Drawing)
        plain, large = (self.drawing(drawn.svg, px) for px in (LETTERS_PX, LARGE_PX))
        before, after = ("\n".join(self.set(b) for b in part) for part in (blocks[:k], blocks[k + 1 :]))
        across = re.findall(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', drawn.svg)
        # As tall as it stands across the whole page, and never taller.
        whole = PAGE_CM * float(across[0][1]) / float(across[0][0]) if across else MOST_CM
        most = min(MOST_CM, whole)
        chosen = f'if tall < {SMALLER * whole:.2f}cm {{ "{large}" }} else {{ "{plain}" }}'
        image = f'tall => image({chosen}, width: 100%, height: tall, fit: "contain")'
        return f"#[{closer}#sheet([{before}], [{after}], {most:.2f}, {image})]"

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
                name = self.drawing(svg, LETTERS_PX)
                return f'#align(center)[#image("{name}", width: 100%, height: {DRAWING_CM}cm, fit: "contain")]'
            case PageSheet(blocks):
                return self._sheet(blocks) + "\n#pagebreak(weak: true)"
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
        source = set_in(Path(folder), brief(plan, zone, unit, drawn))
        return bytes(typst.compile(str(source), root=folder))


def set_in(folder: Path, blocks: Sequence[Block]) -> Path:
    """Write the source of some blocks into a folder, with the files it names, and return where it is."""
    setting = _Setting(folder)
    source = folder / "brief.typ"
    text = _HEAD + _SHEET.replace("LEAST", str(LEAST_CM)) + "\n".join(setting.set(block) for block in blocks) + "\n"
    source.write_text(text, encoding="utf-8")
    return source


def _grid(grid: Table) -> str:
    # The widest column takes what is left; the others are as wide as they need.
    width = [max([len(row[k]) for row in grid.rows] or [0]) for k in range(len(grid.heads))]
    widest = width.index(max(width))
    # A position stands on two lines, so that what is steered by has the room.
    sizes = {widest: "1fr", **{k: "2.1cm" for k, head in enumerate(grid.heads) if head == "position"}}
    columns = ", ".join(sizes.get(k, "auto") for k in range(len(grid.heads)))
    heads = ", ".join(f"[*{_t(h)}*]" if h else "[]" for h in grid.heads)
    cells = [f"table.header({heads})"]  # stands again where the table runs on to a further page
    for number, row in enumerate(grid.rows):
        cells += [f"[#text(red)[{_t(c)}]]" if number in grid.loud else f"[{_t(c)}]" for c in row]
    return f"#table(columns: ({columns}), {', '.join(cells)})"


def _t(text: str) -> str:
    """Return text with everything that typst would read as markup escaped."""
    return "".join(f"\\{c}" if c in "\\#$*_`<>@~[]/=+-\"'" else c for c in text)
