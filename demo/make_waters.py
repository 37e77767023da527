"""Make the invented waters: ``python demo/make_waters.py [FILE]``.

An archipelago that is nowhere, in open ocean, written as a GeoPackage with S-57 layers: the chart of the demo, of the
practice scenes and of many tests.  Not for navigation, and it says so of itself.  The same bytes every time.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from waters import aids, areas, ground, works
from waters.layers import Waters, write

TARGET = Path(__file__).parents[1] / "src" / "moonless" / "data" / "demo" / "waters.gpkg"


def build() -> tuple[Waters, areas.Ground]:
    """Return all features and the ground they stand on."""
    waters = Waters()
    cut = areas.cut(ground.heights(), works.QUAY)
    areas.add_land(waters, cut)
    areas.add_depths(waters, cut)
    works.add_bridge(waters, cut)
    works.add_oysters(waters, cut)
    works.add_cable(waters)
    works.add_harbour(waters, cut)
    aids.add_channel(waters)
    aids.add_buoys(waters)
    aids.add_lights(waters, cut)
    aids.add_dangers(waters, cut)
    aids.add_rules(waters, cut)
    return waters, cut


def main(path: Path = TARGET) -> None:
    """Build and write."""
    write(build()[0], path)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else TARGET)
