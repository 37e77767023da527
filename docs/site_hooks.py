"""What the manual needs besides mkdocs: pages that lie at the repository's root are read as they lie there."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from mkdocs.structure.files import File, Files

_SHIM = re.compile(r'<script src="?https://unpkg\.com/[^>]*></script>')
ROOT = Path(__file__).parents[1]
PAGES = {"CHANGELOG.md": "changelog.md", "CONTRIBUTING.md": "contributing.md", "REFERENCES.md": "references.md"}


def on_files(files: Files, config: Any) -> Files:
    """Add the root's pages to the site, their links as seen from there."""
    for name, page in PAGES.items():
        text = (ROOT / name).read_text(encoding="utf-8").replace("](docs/", "](")
        files.append(File.generated(config, page, content=text))
    return files


def on_post_page(output: str, **_: Any) -> str:
    """Leave out what the theme would fetch from a network.  Search then wants a server: python -m http.server."""
    return _SHIM.sub("", output)


def on_post_template(output_content: str, **_: Any) -> str:
    """Do the same for the page of what is not there."""
    return _SHIM.sub("", output_content)


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Turn links to the root's pages into links of the site."""
    return re.sub(r"\]\(\.\./(CHANGELOG|CONTRIBUTING|REFERENCES)\.md", lambda m: f"]({m[1].lower()}.md", markdown)
