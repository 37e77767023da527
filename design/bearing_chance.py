"""The wide search for the bearing bias: does it fit by chance, and is its sigma honest?

    python design/bearing_chance.py calibrate        on coasts drawn wrong, at several sizes of a vote's square
    python design/bearing_chance.py chance DIR...    DIR: real runs (radar.cat240, nmea.nmea, boat_raw.toml, chart.gpkg)

`calibrate` prints the error and the error over sigma (rms) of those told, for local errors of 20, 50 and 80 m over a
shift of 50 to 200 m.  `chance` turns the echoes about the boat in steps of 24 degrees: only the first line should fit.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT / "tests" / "reading"))

from reading_coasts import LAND, NONE, shore  # noqa: E402
from reading_fakes import FRAME, FakeChart, make_boat  # noqa: E402

from moonless.reading.chart_around import Place, lay_out  # noqa: E402
from moonless.reading.registration import bearing_bias, stage  # noqa: E402
from moonless.reading.registration.matching import turned_back  # noqa: E402
from moonless.reading.registration.observations import Sightings, sight  # noqa: E402

SQUARES_M = (500.0, 800.0, 1200.0)
DRAWS = 40
TURNS = 12


def estimate(place: Place, turns: list[Sightings]) -> tuple[bearing_bias.Bearing | None, float]:
    """Return what the search makes of some turns, and the mean log likelihood of a vote."""
    search = bearing_bias.BearingSearch(make_boat())
    for seen in turns:
        search._look_at_shore(seen, place)
    assert search._shore is not None
    return search._posterior(), float(search._shore.max() / search._votes)


def calibrate() -> None:
    """Print error over sigma on made coasts."""
    place = lay_out(FakeChart(land=LAND), FRAME, 0.0, 0.0, 5000.0)
    assert place is not None
    for square_m in SQUARES_M:
        bearing_bias.SQUARE_M = square_m
        for local_m in (20.0, 50.0, 80.0):
            off = []
            for draw in range(DRAWS):
                rng = np.random.default_rng([77, draw, int(local_m)])
                way, far, bias = rng.uniform(0.0, math.tau), rng.uniform(50.0, 200.0), math.radians(rng.uniform(-5, 5))
                seen = shore(bias, (far * math.sin(way), far * math.cos(way)), rng, local_m)
                told, _ = estimate(place, [seen])
                if told is not None and told.sigma < bearing_bias.SPEAK_SIGMA:
                    off.append((told.bias - bias, (told.bias - bias) / told.sigma))
            error = np.array(off).reshape(-1, 2)
            print(
                f"square {square_m:4.0f} m, local error {local_m:2.0f} m: told {len(off) / DRAWS:.2f}, "
                f"error {math.degrees(np.sqrt(np.mean(error[:, 0] ** 2))):.2f} deg, "
                f"over sigma {np.sqrt(np.mean(error[:, 1] ** 2)):.2f}"
            )


def chance(folder: Path) -> None:
    """Print what the search makes of a real run's echoes, as they are and turned about the boat."""
    from moonless.boat.file import read_boat
    from moonless.chart.library import Chart
    from moonless.watch.pipeline.chain import Chain
    from moonless.watch.pipeline.replay import Replay, play

    found: list[Sightings] = []

    def listen(*asked: object) -> Sightings:
        found.append(sight(*asked))  # type: ignore[arg-type]
        return found[-1]

    stage.sight = listen  # type: ignore[assignment]
    chain = Chain(read_boat(folder / "boat_raw.toml"), Chart.open([folder / "chart.gpkg"]), None)
    for _ in play(chain, Replay(radar=(folder / "radar.cat240",), nmea=(folder / "nmea.nmea",))):
        if len(found) >= TURNS:
            break
    place = chain._judge._registration._place
    assert place is not None
    for turned_deg in range(0, 360, 24):
        by = math.radians(turned_deg)
        turns = [
            Sightings(turned_back(s.shore_rel, by), s.shore_own, NONE, NONE, np.zeros(0), np.zeros(0)) for s in found
        ]
        told, fit = estimate(place, turns)
        said = "-" if told is None else f"{math.degrees(told.bias):.1f} +- {math.degrees(told.sigma):.1f} deg"
        print(f"{folder.name}, turned {turned_deg:3d} deg: a vote fits {fit:.2f}, {said}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["calibrate"]:
        calibrate()
    elif sys.argv[1:2] == ["chance"]:
        for name in sys.argv[2:]:
            chance(Path(name))
    else:
        raise SystemExit(__doc__)
