"""Print table 2 of MSC.192(79) as the model has it, and what the generic sets hold.

docs/radar-model.md holds what this prints.
"""

from __future__ import annotations

from moonless.radar.standard import as_markdown, sets_as_markdown

if __name__ == "__main__":
    print(as_markdown())
    print()
    print(sets_as_markdown())
