"""``moonless predict``: what the radar should show from one place at one moment."""

from __future__ import annotations

import re
from pathlib import Path

import click

from moonless.files import replacing, write_whole


class _Place(click.ParamType):  # type: ignore[type-arg, unused-ignore]
    """LAT,LON in degrees; south and west negative."""

    name = "LAT,LON"

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:
        try:
            lat, lon = (float(part) for part in value.split(","))
        except ValueError:
            self.fail(f"{value!r} is not LAT,LON in degrees, as in 42.35,-71.03", param, ctx)
        if not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0):
            self.fail(f"{value!r} is not a place on earth: latitude to 90, longitude to 180", param, ctx)
        return lat, lon


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
@click.option("--at", "place", required=True, type=_Place(), help="Where the boat is.")
@click.option("--heading", "heading_deg", required=True, type=click.FloatRange(0.0, 360.0), metavar="DEG",
              help="True heading.")  # fmt: skip
@click.option("--range", "range_nm", required=True, type=click.FloatRange(0.05, 48.0), metavar="NM",
              help="How far the picture reaches.")  # fmt: skip
@click.option("--scale", "scale_nm", type=click.FloatRange(0.05, 48.0), metavar="NM",
              help="Range scale the radar is set to, which decides its pulse; the range unless told.")  # fmt: skip
@click.option("--wind", "wind_kn", default=6.0, show_default=True, type=click.FloatRange(0.0, 100.0), metavar="KN")
@click.option("--wind-from", "wind_deg", default=0.0, show_default=True, type=click.FloatRange(0.0, 360.0),
              metavar="DEG", help="True.")  # fmt: skip
@click.option("--waves", "wave_m", default=0.3, show_default=True, type=click.FloatRange(0.0, 15.0), metavar="M",
              help="Significant wave height.")  # fmt: skip
@click.option("--rain", "rain_mmh", default=0.0, show_default=True, type=click.FloatRange(0.0, 200.0), metavar="MMH",
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

    import numpy as np
    from rich.console import Console

    from moonless.boat import default_boat, read_boat
    from moonless.chart.library import Chart
    from moonless.constants import NAUTICAL_MILE_M
    from moonless.radar.drawn import drawn_scan
    from moonless.radar.expected import expected_marks, expected_scan
    from moonless.radar.link.receiver import counts_of
    from moonless.radar.types import RadarPose, RainCell, ScanGrid, Weather
    from moonless.radar.world import World
    from moonless.units import kn_to_mps

    boat = read_boat(boat_file) if boat_file is not None else default_boat()
    radar = boat.radar
    lat, lon = place
    reach_m = range_nm * NAUTICAL_MILE_M
    # Silent unless somebody watches: the bar goes to a terminal only.
    with Console(stderr=True).status("opening the chart") as status:
        opened = Chart.open(charts, progress=lambda what, done: status.update(f"chart: {what} {done:.0%}"))
        local = opened.around(lat, lon, reach_m * 1.05 + 500.0)
        status.update("working out what the radar sees")
        world = World.from_chart(local, heights=heights)
    frame = local.frame
    heading = math.radians(heading_deg)
    east, north = (float(v) for v in frame.to_plane(lat, lon))
    # The chart is asked about the position antenna; the radar stands where the boat file says.
    east += radar.forward_m * math.sin(heading) + radar.starboard_m * math.cos(heading)
    north += radar.forward_m * math.cos(heading) - radar.starboard_m * math.sin(heading)
    cells = []
    for s_lat, s_lon, radius_nm, rate in showers:
        x, y = frame.to_plane(s_lat, s_lon)
        cells.append(RainCell(float(x), float(y), radius_nm * NAUTICAL_MILE_M, rate))
    weather = Weather(wave_m, math.radians(wind_deg), kn_to_mps(wind_kn), rain_mmh, tuple(cells))
    pose = RadarPose(east, north, heading)
    scale = scale_nm if scale_nm is not None else range_nm
    n_spoke, n_cell = 2048, 1024
    cell_m = reach_m / n_cell
    # Category 240 counts range in whole cells, so the first cell's centre lies one cell out.
    grid = ScanGrid(n_spoke, n_cell, cell_m, cell_m)
    if expected:
        counts = counts_of(expected_scan(world, radar, pose, grid, scale, weather).snr)
    else:
        counts = drawn_scan(world, radar, pose, grid, scale, weather, rng=np.random.default_rng(seed))
    seen = expected_marks(world, radar, pose, scale, world.marks, weather, range_m=reach_m)
    within = [one for one in seen if one.range_m <= reach_m]
    likely = sum(one.p_detect >= 0.5 for one in within)
    hidden = sum(one.hidden_by_land for one in within)
    if png_file is not None:
        from moonless.radar.picture import render

        kind = "mean" if expected else f"one turn, seed {seed}"
        caption = f"predicted ({kind})  {lat:.4f}, {lon:.4f}  heading {heading_deg:05.1f}  {range_nm:g} NM"
        image = render(counts, grid, range_nm, heading, caption)
        with replacing(png_file) as draft:
            image.save(draft, format="PNG")
    if cat240_file is not None:
        blocks = _blocks(counts, cell_m, heading, radar.angle_from)
        write_whole(cat240_file, blocks)
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
