"""What was judged of changes that no test catches: kept by their text, so that a line may move."""

from __future__ import annotations

import tomllib
from pathlib import Path

JUDGED = Path(__file__).with_name("judged.toml")


def judged() -> dict[tuple[str, str], str]:
    """Return why a survivor misleads nobody, by the line as it stands and as it becomes."""
    if not JUDGED.exists():
        return {}
    table = tomllib.loads(JUDGED.read_text(encoding="utf-8"))
    return {(one["was"], one["now"]): one["why"] for one in table.get("harmless", ())}
