"""Spokes of a picture as radar video: from here on a screen is a radar like any other.

The spokes of a picture are written as ASTERIX category 240 data blocks and go the way of all radar bytes: into the
recording, into the chain, to the screens.  What the screen did not show is not sent.  A summary message says that it is
a picture, and how exactly it knows where a cell is:

    picture range_sigma_m=12.5 azimuth_sigma_deg=0.21 time_sigma_s=0.8
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from moonless.picture.told import PictureErrors
from moonless.scan.types import ScanErrors, Spoke
from moonless.wire.cat240 import encode_summary, encode_video

# A source of its own, so that a picture and a radar on one link are never mixed.
SAC, SIC = 0, 240
_SUMMARY = re.compile(r"picture range_sigma_m=([0-9.]+) azimuth_sigma_deg=([0-9.]+) time_sigma_s=([0-9.]+)", re.ASCII)


def blocks_of(spokes: Iterable[Spoke]) -> list[bytes]:
    """Return one data block for each stretch of a spoke."""
    return [
        encode_video(
            spoke.echo, azimuth_start_rad=spoke.azimuth_start_rad, azimuth_end_rad=spoke.azimuth_end_rad,
            cell_m=spoke.cell_m, start_cell=round(spoke.first_cell_m / spoke.cell_m), sequence=spoke.sequence,
            time_ns=spoke.time_ns, sac=SAC, sic=SIC,
        )
        for spoke in spokes
    ]  # fmt: skip


def summary_of(errors: PictureErrors, time_ns: int) -> bytes:
    """Return the data block that tells how exact a picture is."""
    text = (
        f"picture range_sigma_m={errors.range_sigma_m:.2f} "
        f"azimuth_sigma_deg={math.degrees(errors.azimuth_sigma_rad):.3f} time_sigma_s={errors.time_sigma_s:.2f}"
    )
    return encode_summary(text, time_ns=time_ns, sac=SAC, sic=SIC)


def errors_in(text: str) -> PictureErrors | None:
    """Return how exact a picture is, as a summary tells; None: it is no picture's."""
    found = _SUMMARY.fullmatch(text.strip())
    if found is None:
        return None
    try:
        range_m, azimuth_deg, time_s = (float(part) for part in found.groups())
    except ValueError:
        return None
    return PictureErrors(range_m, math.radians(azimuth_deg), time_s)


def with_picture(errors: ScanErrors, told: PictureErrors | None) -> ScanErrors:
    """Return the radar's error figures made larger by the picture's own."""
    if told is None:
        return errors
    return ScanErrors(
        errors.beam_rad, errors.pulse_m, math.hypot(errors.azimuth_sigma_rad, told.azimuth_sigma_rad),
        math.hypot(errors.range_sigma_m, told.range_sigma_m), math.hypot(errors.time_sigma_s, told.time_sigma_s), None,
        is_pictured=True,
    )  # fmt: skip
