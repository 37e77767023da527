"""Stills of the worst moments of made scenes: `python design/worst_moments.py OUT [SCENE...]`.

Each scene is played through the whole chain into a recording, the moments with the most at stake are found in what was
read (the gravest order, then the most calls of the last half minute, then the nearest vessel under way), the recording
is played at the helm to such a turn and stands still there, and the sheet is photographed as a desktop and as a phone
show it.  Needs the built screens and Debian's Chromium.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
sys.path.insert(0, str(ROOT / "tests" / "helm"))

from bench.many_runs.record import record  # noqa: E402
from bench.scenes.built_in import scene_files  # noqa: E402
from bench.scenes.helm_words import SCENES  # noqa: E402
from helm_page import Page  # noqa: E402
from helm_server import ARGS, CHROMIUM, Server  # noqa: E402

from moonless.chart.library import Chart  # noqa: E402
from moonless.scene.file import demo_folder, load_scene  # noqa: E402
from moonless.scene.player import ScenePlayer  # noqa: E402
from moonless.wire.recording import RecordingReader  # noqa: E402

SIZES = {"desktop": (1440, 900), "phone": (390, 844)}
GRAVITY = {"stop": 4, "slow": 3, "turn": 3, "hold": 2, "look": 1}
# Two of one scene lie so many turns apart; what is said first is not looked at; calls are counted over so many turns.
APART, FIRST, CALLS_OVER = 30, 12, 12
OF_ONE = {"crossing-traffic": 2, "river": 2, "bridge": 2}  # two moments of the longest; of others one: ten


def moments(lines: Sequence[dict[str, Any]], n: int) -> list[str]:
    """Return the times of the ``n`` turns with the most at stake."""
    rated = []
    for at, line in enumerate(lines):
        order = line["instruction"]
        calls = sum(len(one["calls"]) for one in lines[max(0, at - CALLS_OVER) : at + 1])
        under_way = [e["range_m"] for e in line["echoes"] if e["is"] == "vessel" and (e["sog_kn"] or 0.0) > 2.0]
        rated.append((GRAVITY[order["do"]] if order else 0, calls, -min(under_way, default=1e6), at))
    chosen: list[int] = []
    for *_, at in sorted(rated[FIRST:], reverse=True):
        if len(chosen) < n and all(abs(at - other) >= APART for other in chosen):
            chosen.append(at)
    return [lines[at]["time"] for at in sorted(chosen)]


def take(scene: str, out: Path, folder: Path, browser: Any) -> None:
    """Photograph the worst moments of one scene."""
    path = demo_folder() / "story.toml" if scene == "story" else scene_files([scene])[0]
    player = ScenePlayer(load_scene(path))
    chart = player.scene.waters.paths
    run = folder / f"{scene}.mcap"
    record(player, Chart.open(chart) if chart else None, run, with_video=True)
    lines = [json.loads(one.data) for one in RecordingReader(run).only("readings")]
    times = moments(lines, OF_ONE.get(scene, 1))
    given = ["--boat", str(demo_folder() / "boat.toml")]
    given += ["--chart", str(demo_folder() / "waters.gpkg")] if chart else []
    helm = Server("-m", "moonless", "helm", str(run), *given, "--port", "0", "--speed", "4")
    try:
        page = Page(browser, helm.address, *SIZES["desktop"]).open(wait_s=300.0)
        page.rest(rangeHeld=False, trails="long")
        for n, time in enumerate(times):
            page.until(f"moonless.store.state.reading.time >= '{time}'", 900.0)
            page.press("p")
            page.until("moonless.store.state.affairs.paused")
            for size, (width, height) in SIZES.items():
                page.page.set_viewport_size({"width": width, "height": height})
                page.page.wait_for_timeout(4000)
                page.until("moonless.screen.isChartWhole", 60.0)
                page.page.screenshot(path=out / f"{scene}-{n + 1}-{size}.png")
            order = page.page.evaluate("moonless.store.state.reading.instruction")
            print(scene, time, json.dumps(order), flush=True)
            page.page.set_viewport_size(dict(zip(("width", "height"), SIZES["desktop"], strict=True)))
            page.press("p")
        page.context.close()
    finally:
        helm.stop()


def main() -> None:
    """Take the stills of the scenes asked for, of all where none is."""
    from playwright.sync_api import sync_playwright

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("scenes", nargs="*", default=[*SCENES])
    asked = parser.parse_args()
    asked.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        os.environ["XDG_DATA_HOME"] = os.environ["XDG_CONFIG_HOME"] = folder  # nothing of the user's, nothing kept
        browser = playwright.chromium.launch(executable_path=str(CHROMIUM), args=ARGS)
        for scene in asked.scenes:
            take(scene, asked.out, Path(folder), browser)
        browser.close()


if __name__ == "__main__":
    main()
