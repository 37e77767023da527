"""Pictures of the chart alone, at the ranges a skipper uses: opened one by one to judge the look.

    python design/chart_pictures.py OUT --chart src/moonless/data/demo/waters.gpkg --at -12.4,-118.3 --name demo
    python design/chart_pictures.py OUT --chart CELLS --at 42.36,-71.03 --name harbour --looks night,day

A boat that lies still, no radar: what is seen is the chart and its ink.  Needs the built screens, Playwright and a
Chromium (`--chromium`).
"""

from __future__ import annotations

import argparse
import asyncio
import re
import subprocess
import sys
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import Any

ARGS = [
    "--no-sandbox", "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
# As the front end counts them (web/src/geo/units.ts).
RANGES_NM = (0.125, 0.1875, 0.25, 0.375, 0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 16, 24)


class Lying:
    """A boat that lies still on a chart."""

    kind = "test"

    def __init__(self, charts: list[Path], lat_deg: float, lon_deg: float, heading_deg: float, tide_m: float) -> None:
        self._charts, self._place, self._heading, self._tide_m = charts, (lat_deg, lon_deg), heading_deg, tide_m
        self.boat: Mapping[str, Any] = {
            "name": "pictures", "length_m": 9.0, "beam_m": 3.0, "keep_off_m": 463.0, "distance_unit": "nm",
            "free_hand": "right", "night_limit_kn": None, "stopping_measured": False, "local_time_zone": "UTC",
            "draught_m": 0.9, "air_draught_m": 3.2, "depth_margin_m": 0.5, "blind_sectors_deg": [],
        }  # fmt: skip

    def do(self, control: Mapping[str, Any]) -> None:
        """Nothing can be asked of it."""

    async def events(self) -> AsyncIterator[Any]:
        """Yield the chart, then the same place for ever."""
        from moonless.chart.library import Chart
        from moonless.helm.process.events import Notice, PoseNow, TideNow
        from moonless.helm.web.chart_json import chart_ready

        yield chart_ready(Chart.open(self._charts), self._charts)
        yield TideNow(self._tide_m)
        yield Notice("")
        while True:
            yield PoseNow(*self._place, self._heading, self._heading, 6.0, 0.0)
            await asyncio.sleep(0.2)


def main() -> None:
    """Serve, look, and write the pictures."""
    ask = argparse.ArgumentParser()
    ask.add_argument("out", type=Path)
    ask.add_argument("--chart", type=Path, action="append", required=True)
    ask.add_argument("--at", required=True, help="LAT,LON")
    ask.add_argument("--heading", type=float, default=20.0)
    ask.add_argument("--tide", type=float, default=0.0)
    ask.add_argument("--name", default="chart")
    ask.add_argument("--ranges", default="0.25,0.75,1.5,3,6")
    ask.add_argument("--looks", default="night")
    ask.add_argument("--size", default="1024x768")
    ask.add_argument("--up", default="head")
    ask.add_argument("--lay", default="over")
    ask.add_argument("--chromium", default="/usr/bin/chromium")
    ask.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    given = ask.parse_args()
    lat_deg, lon_deg = (float(word) for word in given.at.split(","))
    if given.serve:
        from moonless.helm.web.serve import serve

        source: Any = Lying(given.chart, lat_deg, lon_deg, given.heading, given.tide)
        serve(source, port=0, on_open=lambda address: print(address, flush=True))
        return
    server = subprocess.Popen([sys.executable, *sys.argv, "--serve"], stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        address = next(found.group() for line in server.stdout if (found := re.search(r"http://\S+", line)))
        _look(given, address)
    finally:
        server.kill()


def _look(given: argparse.Namespace, address: str) -> None:
    from playwright.sync_api import sync_playwright

    given.out.mkdir(parents=True, exist_ok=True)
    width, height = (int(word) for word in given.size.split("x"))
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=given.chromium, args=ARGS)
        page = browser.new_page(viewport={"width": width, "height": height})
        page.on("console", lambda said: print(said.type, said.text) if said.type in ("error", "warning") else None)
        page.on("pageerror", lambda problem: print("page:", problem))
        page.goto(address)
        for look in given.looks.split(","):
            for wide in given.ranges.split(","):
                index = RANGES_NM.index(float(wide))
                page.evaluate(
                    f"moonless.store.send({{type: 'set', change: {{look: '{look}', up: '{given.up}', "
                    f"lay: '{given.lay}', rangeIndex: {index}, rangeHeld: true}}}})"
                )
                # Tiles not kept yet are made; then the words of the last ones are gathered.
                still = 0
                for _ in range(200):
                    page.wait_for_timeout(150)
                    still = still + 1 if page.evaluate("moonless.screen.isChartWhole === true") else 0
                    if still >= 6:
                        break
                page.wait_for_timeout(600)
                path = given.out / f"{given.name}-{look}-{wide}nm.png"
                page.screenshot(path=path)
                print(path)
        browser.close()


if __name__ == "__main__":
    main()
