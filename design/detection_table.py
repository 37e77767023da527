"""Print table 2 of MSC.192(79) as the model has it; docs/radar-model.md holds what this prints."""

from __future__ import annotations

from moonless.radar.standard import as_markdown

if __name__ == "__main__":
    print(as_markdown())
