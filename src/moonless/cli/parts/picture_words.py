"""What was found on a screen, said in lines or as one JSON object."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from moonless.picture.types import FoundScope, PictureScan


def tell(found: FoundScope, scan: PictureScan | None, as_json: bool) -> None:
    """Say what was found, in lines or as one JSON object."""
    import json
    import math

    body = {
        "centre_px": [round(v, 2) for v in found.plane.centre],
        "tilt_deg": round(found.plane.tilt_deg, 2),
        "rings": found.rings,
        "rings_residual_px": round(found.residual_px, 3),
        "range_m": None if found.range_m is None else round(found.range_m, 1),
        "range_from": found.range_from,
        "bow_deg": None if found.bow_rad is None else round(math.degrees(found.bow_rad) % 360.0, 2),
        "bow_sigma_deg": round(math.degrees(found.bow_sigma_rad), 2),
        "north_up": found.north_up,
        "strengths": found.palette.n_level,
        "strengths_sure": found.palette.is_sure,
        "not_received": None if scan is None else round(1.0 - float(scan.shown.mean()), 4),
        "range_sigma_m": None if scan is None else round(scan.range_sigma_m, 2),
        "azimuth_sigma_deg": None if scan is None else round(math.degrees(scan.azimuth_sigma_rad), 3),
        "notes": list(found.notes),
        "asks": list(found.asks),
    }
    if as_json:
        click.echo(json.dumps(body))
        return
    x, y = found.plane.centre
    click.echo(f"scope: own boat at pixel {x:.1f}, {y:.1f}; {found.rings} rings")
    lean = found.plane.tilt_deg
    click.echo(f"the screen leans {lean:.1f}° from the camera; rings fit to {found.residual_px:.2f} pixels")
    if scan is not None:
        click.echo(
            f"places are exact to {scan.range_sigma_m:.0f} m in range and {body['azimuth_sigma_deg']:.2f}° in bearing, "
            f"{body['not_received']:.1%} of the scope is not received"
        )
    click.echo(f"colours: {found.palette.n_level} strengths of echo")
    for note in found.notes:
        click.echo(note)
    for ask in found.asks:
        click.echo(f"must be told: {ask}")
