"""Wild scenes: the same seed is the same scene, the drawing knows nothing of the program's model, a turn plays."""

from __future__ import annotations

import ast
from pathlib import Path

import numpy as np
import pytest

import moonless.scene.wild as wild_package
from moonless.scene.wild.player import WildPlayer
from moonless.scene.wild.recipe import wild_of

FOLDER = Path(wild_package.__file__).parent


def test_the_drawer_is_independent() -> None:
    for path in FOLDER.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [one.name for one in node.names] if isinstance(node, ast.Import) else []
            for name in names:
                assert not name.startswith(("moonless.radar", "moonless.echo", "moonless.sight")), (path.name, name)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_the_same_seed_gives_the_same_bytes(seed: int, tmp_path: Path) -> None:
    played = []
    for which in ("a", "b"):
        folder = tmp_path / which
        folder.mkdir()
        turns = WildPlayer(wild_of(seed), folder).turns()
        played.append([next(turns) for _ in range(2)])
    assert played[0][1].radar == played[1][1].radar and played[0][1].nmea == played[1][1].nmea
    assert played[0][1].truth == played[1][1].truth


def test_nothing_runs_aground() -> None:
    from moonless.scene.motion import ScriptedMotion

    for seed in range(12):
        wild = wild_of(seed)
        if wild.land is None:
            continue
        import shapely

        for script in [wild.scene.own, *[one.script for one in wild.things]]:
            at = ScriptedMotion(script, wild.scene.duration_s).at(np.linspace(0.0, wild.scene.duration_s or 0.0, 40))
            land = shapely.difference(wild.land.real, wild.land.uncharted)
            assert not shapely.contains_xy(land, at.east_m, at.north_m).any()
