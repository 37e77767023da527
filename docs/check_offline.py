"""``python docs/check_offline.py site``: whether a page fetches anything from a network; links may lead there."""

from __future__ import annotations

import re
import sys
from pathlib import Path

FETCHES = re.compile(
    r"""<(?:script|img|iframe|source)\b[^>]*\bsrc=["']?(?:https?:)?//[^"'> ]+"""
    r"""|<link\b(?![^>]*rel=["']?canonical)[^>]*\bhref=["']?(?:https?:)?//[^"'> ]+"""
    r"""|@import\s+(?:url\()?["']?https?://[^"') ]+|url\(["']?https?://[^"') ]+"""
)


def main(site: Path) -> int:
    """Print every fetch from a network; return 1 if there is one."""
    pages = sorted([*site.rglob("*.html"), *site.rglob("*.css")])
    found = [f"{page}: {one}" for page in pages for one in FETCHES.findall(page.read_text(encoding="utf-8"))]
    print("\n".join(found) if found else f"{len(pages)} pages and styles, nothing from a network")
    return 1 if found or not pages else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
