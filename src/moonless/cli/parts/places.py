"""A place on the command line."""

from __future__ import annotations

import click


class LatLonParam(click.ParamType):  # type: ignore[type-arg, unused-ignore]
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


PLACE = LatLonParam()
