"""``moonless predict``: what the radar should show from one place at one moment."""

from __future__ import annotations

import re
from pathlib import Path

import click

from moonless.cli.parts.figures import Bounded, check_outputs
from moonless.cli.parts.places import PLACE
from moonless.files import Drafts


class _Shower(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """LAT,LON,RADIUS_NM,MM_PER_HOUR."""

    name = "LAT,LON,NM,MMH"

    def convert(
        self, value: str, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float, float]:
        try:
            lat, lon, radius, rate = (float(part) for part in re.split(r"[,;]", value))
        except ValueError:
            self.fail(f"{value!r} is not LAT,LON,RADIUS_NM,MM_PER_HOUR", param, ctx)
        if not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0 and 0.0 < radius <= 50.0 and 0.0 <= rate <= 200.0):
            self.fail(f"{value!r}: the radius must be 0 to 50 NM and the rate 0 to 200 mm/h", param, ctx)
        return lat, lon, radius, rate


_FILE = click.Path(dir_okay=False, path_type=Path)


@click.command(
    epilog="\b\nExample:\n"
    "  moonless predict --chart charts/ --boat boat.toml --at 42.352,-71.035 \\\n"
    "      --heading 110 --range 1.5 --png scope.png\n"
    "  moonless predict --chart charts/ --boat boat.toml --at 42.352,-71.035 --heading 110 --range 3 \\\n"
    "      --waves 1.9 --wind 18 --wind-from 60 --rain 4 --cat240 turn.cat240"
)
@click.option("--chart", "charts", multiple=True, required=True, type=click.Path(path_type=Path), metavar="PATH",
              help="Chart file or folder; may be given again.")  # fmt: skip
@click.option("--boat", "boat_file", type=_FILE, help="Boat file; without one a 9 m launch with a small radome.")
@click.option("--at", "place", required=True, type=PLACE, help="Where the boat is.")
@click.option("--heading", "heading_deg", required=True, type=Bounded(0.0, 360.0), metavar="DEG",
              help="True heading.")  # fmt: skip
@click.option("--range", "range_nm", required=True, type=Bounded(0.05, 48.0), metavar="NM",
              help="How far the picture reaches.")  # fmt: skip
@click.option("--scale", "scale_nm", type=Bounded(0.05, 48.0), metavar="NM",
              help="Range scale the radar is set to, which decides its pulse; the range unless told.")  # fmt: skip
@click.option("--wind", "wind_kn", default=6.0, show_default=True, type=Bounded(0.0, 100.0), metavar="KN")
@click.option("--wind-from", "wind_deg", default=0.0, show_default=True, type=Bounded(0.0, 360.0),
              metavar="DEG", help="True.")  # fmt: skip
@click.option("--waves", "wave_m", default=0.3, show_default=True, type=Bounded(0.0, 15.0), metavar="M",
              help="Significant wave height.")  # fmt: skip
@click.option("--rain", "rain_mmh", default=0.0, show_default=True, type=Bounded(0.0, 200.0), metavar="MMH",
              help="Rain everywhere.")  # fmt: skip
@click.option("--shower", "showers", multiple=True, type=_Shower(), help="A round shower; may be given again.")
@click.option("--heights", type=_FILE, help="Any GDAL raster of ground heights (needs moonless[heights]).")
@click.option("--expected", is_flag=True, help="The mean picture instead of one random turn.")
@click.option("--seed", default=0, show_default=True, type=click.IntRange(0), help="Of the random turn.")
@click.option("--png", "png_file", type=_FILE, help="Write the picture.")
@click.option("--cat240", "cat240_file", type=_FILE, help="Write the turn as ASTERIX category 240 data blocks.")
def command(
    charts: tuple[Path, ...],
    boat_file: Path | None,
    place: tuple[float, float],
    heading_deg: float,
    range_nm: float,
    scale_nm: float | None,
    wind_kn: float,
    wind_deg: float,
    wave_m: float,
    rain_mmh: float,
    showers: tuple[tuple[float, float, float, float], ...],
    heights: Path | None,
    expected: bool,
    seed: int,
    png_file: Path | None,
    cat240_file: Path | None,
) -> None:
    """Draw what the radar should show from a place, by night colours or as radar video.

    Made, not received, and the picture says so.  Without --png and --cat240 it only counts the charted marks that
    would show.
    """
    import math

    from rich.console import Console

    from moonless.boat import default_boat, read_boat
    from moonless.chart.faults import chart_faults
    from moonless.chart.library import Chart
    from moonless.clock import SystemClock
    from moonless.constants import NAUTICAL_MILE_M
    from moonless.radar.prediction import PredictionAsked, RainShower, chart_margin_m, predict
    from moonless.units import NS_PER_S, kn_to_mps

    check_outputs({"--png": png_file, "--cat240": cat240_file})
    boat = read_boat(boat_file) if boat_file is not None else default_boat()
    lat, lon = place
    asked = PredictionAsked(
        lat, lon, math.radians(heading_deg), range_nm * NAUTICAL_MILE_M, range_nm if scale_nm is None else scale_nm,
        wave_m, math.radians(wind_deg), kn_to_mps(wind_kn), rain_mmh,
        tuple(RainShower(at, on, radius_nm * NAUTICAL_MILE_M, rate) for at, on, radius_nm, rate in showers),
        None if expected else seed,
    )  # fmt: skip
    # Silent unless somebody watches: the bar goes to a terminal only.
    with Console(stderr=True).status("opening the chart") as status:
        opened = Chart.open(charts, progress=lambda what, done: status.update(f"chart: {what} {done:.0%}"))
        reach_deg = asked.reach_m / 111_000.0
        wide = reach_deg / max(math.cos(math.radians(lat)), 0.01)
        bounds = (lon - wide, lat - reach_deg, lon + wide, lat + reach_deg)
        faults = chart_faults(opened, bounds, SystemClock().now_ns() / NS_PER_S)
        local = opened.around(lat, lon, chart_margin_m(asked.reach_m))
        status.update("working out what the radar sees")
        found = predict(local, boat.radar, asked, heights=heights)
    for fault in faults:
        click.secho(f"CHART: {fault}", fg="red", bold=True)
    within = [one for _, one in found.marks]
    likely = sum(one.p_detect >= 0.5 for one in within)
    hidden = sum(one.hidden_by_land for one in within)
    with Drafts() as drafts:
        if png_file is not None:
            found.image().save(drafts.path(png_file), format="PNG")
        if cat240_file is not None:
            video = _blocks(found.counts, found.grid.cell_m, asked.heading_rad, boat.radar.angle_from)
            drafts.binary(cat240_file).write(video)
    click.echo(
        f"{len(within)} charted marks within {range_nm:g} NM: {likely} likely to show, {hidden} hidden by land"
        + (f"; picture {png_file}" if png_file else "")
        + (f"; video {cat240_file}" if cat240_file else "")
    )


def _blocks(counts: object, cell_m: float, heading_rad: float, angle_from: str) -> bytes:
    """Return the turn as data blocks, one a spoke; a row's angle is the middle of its spoke."""
    import math

    import numpy as np

    from moonless.wire.cat240 import encode_video

    rows = np.asarray(counts, dtype=np.uint8)
    n_spoke = len(rows)
    step = 2.0 * math.pi / n_spoke
    start = (heading_rad if angle_from == "true" else 0.0) - 0.5 * step
    return b"".join(
        encode_video(
            rows[i],
            azimuth_start_rad=(start + i * step) % (2.0 * math.pi),
            azimuth_end_rad=(start + (i + 1) * step) % (2.0 * math.pi),
            cell_m=cell_m,
            start_cell=1,
            sequence=i,
        )
        for i in range(n_spoke)
    )
