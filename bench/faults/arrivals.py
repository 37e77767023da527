"""What comes in on a made run, and when: the demo's bytes as the links would hand them over, and faults put into them.

A fault is a function from arrivals to arrivals; the times are of receipt, Unix ns, and never go back.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from moonless.scene.instruments import sentence
from moonless.scene.player import ScenePlayer
from moonless.scene.story import open_demo
from moonless.scene.types import Scene
from moonless.units import NS_PER_S
from moonless.wire.cat240 import Cat240Decoder, Video, encode_video

RADAR, NMEA, SECOND_NMEA = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Arrival:
    """Bytes of one link at their time of receipt; ``link`` as the watch numbers them: 0 is the radar."""

    time_ns: int
    link: int
    data: bytes

    @property
    def is_datagram(self) -> bool:
        """A radar sends datagrams; sentences come as a stream."""
        return self.link == RADAR


Arrivals = Iterable[Arrival]
Fault = Callable[[Arrivals], Iterator[Arrival]]


# Losses past which nothing but the receiver's own noise is left of any echo.
DEAF_DB = 160.0


@cache
def demo_run(seconds: float, scale_nm: float | None = None, loss_db: float = 0.0) -> tuple[Arrival, ...]:
    """Return the first seconds of the demo's story as they come in.

    ``scale_nm``: on another range scale; ``loss_db``: through a scanner that loses so much.
    """
    scene: Scene = open_demo()
    use = replace(scene.radar, loss_db=loss_db, scale_nm=scene.radar.scale_nm if scale_nm is None else scale_nm)
    scene = replace(scene, radar=use)
    player, out = ScenePlayer(scene), list[Arrival]()
    for turn in player.turns():
        if (turn.start_ns - scene.start_ns) / NS_PER_S >= seconds:
            break
        out += [Arrival(time_ns, RADAR, data) for time_ns, data in turn.radar]
        # As a receiver sends them: without the tag blocks of a file.
        out += [Arrival(line.time_ns, NMEA, line.sentence.encode("ascii") + b"\r\n") for line in turn.nmea]
    return tuple(sorted(out, key=lambda one: one.time_ns))


def between(start_s: float, stop_s: float, put_in: Callable[[Arrival, float], Iterable[Arrival]]) -> Fault:
    """Return a fault that changes each arrival of a stretch; ``put_in`` is given the seconds since the run began."""

    def changed(arrivals: Arrivals) -> Iterator[Arrival]:
        began_ns: int | None = None
        for one in arrivals:
            began_ns = one.time_ns if began_ns is None else began_ns
            at_s = (one.time_ns - began_ns) / NS_PER_S
            yield from put_in(one, at_s) if start_s <= at_s < stop_s else (one,)

    return changed


# --- of the radar ----------------------------------------------------------------------------------------------------


def silent(link: int) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Nothing comes on a link."""
    return lambda one, _: () if one.link == link else (one,)


def video_of(data: bytes) -> Video:
    """Return the one video message of a datagram."""
    return next(event for event in Cat240Decoder().datagram(data) if isinstance(event, Video))


def with_cells(one: Arrival, cells: np.ndarray) -> Arrival:
    """Return a spoke with other counts in its cells."""
    spoke = video_of(one.data).to_spoke(one.time_ns)
    return replace(
        one,
        data=encode_video(
            cells.astype(np.uint8), azimuth_start_rad=spoke.azimuth_start_rad, azimuth_end_rad=spoke.azimuth_end_rad,
            cell_m=spoke.cell_m, start_cell=round(spoke.first_cell_m / spoke.cell_m), time_ns=spoke.time_ns,
        ),
    )  # fmt: skip


def swapped(other: Arrivals) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Each spoke as another run of the same radar has it: deaf, or on another range scale."""
    by_time = {one.time_ns: one for one in other if one.link == RADAR}
    return lambda one, _: (by_time[one.time_ns],) if one.link == RADAR else (one,)


def frozen() -> Callable[[Arrival, float], Iterable[Arrival]]:
    """The same turn again and again, with new times."""
    kept: dict[int, np.ndarray] = {}

    def put_in(one: Arrival, _: float) -> Iterable[Arrival]:
        if one.link != RADAR:
            return (one,)
        spoke = video_of(one.data).to_spoke(one.time_ns)
        row = round(spoke.azimuth_start_rad / (2.0 * math.pi) * 65536) // 32
        cells = kept.setdefault(row, np.asarray(spoke.echo))
        return (with_cells(one, cells),)

    return put_in


def bearing_of(one: Arrival) -> float:
    """Return where a spoke begins, radians from the bow."""
    return video_of(one.data).to_spoke(one.time_ns).azimuth_start_rad


def without_hearing(one: Arrival, sector_rad: tuple[float, float], chance: np.random.Generator) -> Arrival:
    """Return a spoke with its own noise in all its cells where it lies in a sector from the bow, else as it is."""
    spoke = video_of(one.data).to_spoke(one.time_ns)
    begin, end = sector_rad
    if (spoke.azimuth_start_rad - begin) % (2.0 * math.pi) >= (end - begin) % (2.0 * math.pi):
        return one
    cells = np.asarray(spoke.echo)
    return with_cells(one, chance.choice(cells[cells.size * 3 // 4 :], size=cells.size))


def deaf_in(begin_deg: float, end_deg: float) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Noise only in a sector from the bow."""
    chance, sector = np.random.default_rng(1), (math.radians(begin_deg), math.radians(end_deg))
    return lambda one, _: (without_hearing(one, sector, chance),) if one.link == RADAR else (one,)


def turned_over() -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Angles counted the other way round: what lies to starboard is shown to port."""

    def put_in(one: Arrival, _: float) -> Iterable[Arrival]:
        if one.link != RADAR:
            return (one,)
        spoke = video_of(one.data).to_spoke(one.time_ns)
        data = encode_video(
            np.asarray(spoke.echo), azimuth_start_rad=-spoke.azimuth_end_rad % (2.0 * math.pi),
            azimuth_end_rad=-spoke.azimuth_start_rad % (2.0 * math.pi), cell_m=spoke.cell_m,
            start_cell=round(spoke.first_cell_m / spoke.cell_m), time_ns=spoke.time_ns,
        )  # fmt: skip
        return (replace(one, data=data),)

    return put_in


def delayed(start_s: float, stop_s: float, by_s: float) -> Fault:
    """Radar video that a link holds back for so long; nothing is lost."""

    def changed(arrivals: Arrivals) -> Iterator[Arrival]:
        all_of = list(arrivals)
        first, stop = (all_of[0].time_ns + round(s * NS_PER_S) for s in (start_s, stop_s))

        def held(one: Arrival) -> Arrival:
            if one.link != RADAR or not first <= one.time_ns < stop:
                return one
            return replace(one, time_ns=min(one.time_ns + round(by_s * NS_PER_S), stop))

        yield from sorted((held(one) for one in all_of), key=lambda one: one.time_ns)

    return changed


# --- of the instruments ----------------------------------------------------------------------------------------------

Words = Callable[[list[str], float], list[str] | None]


def said(kind: str, change: Words) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Change the fields of one kind of sentence (``HDT``, ``RMC``); None: it is not said."""

    def put_in(one: Arrival, at_s: float) -> Iterable[Arrival]:
        if one.link == RADAR or one.data[3:6].decode("ascii") != kind:
            return (one,)
        text = one.data.decode("ascii").strip()
        fields = change(text[1:].partition("*")[0].split(","), at_s)
        return () if fields is None else (replace(one, data=(sentence(",".join(fields)) + "\r\n").encode()),)

    return put_in


def all_of(*parts: Callable[[Arrival, float], Iterable[Arrival]]) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Put in several faults at once."""

    def put_in(one: Arrival, at_s: float) -> Iterable[Arrival]:
        found: list[Arrival] = [one]
        for part in parts:
            found = [changed for before in found for changed in part(before, at_s)]
        return found

    return put_in


def turned(by_deg: Callable[[float], float]) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """A heading that is wrong by so much."""
    return said("HDT", lambda f, t: [f[0], f"{(float(f[1]) + by_deg(t)) % 360.0:.1f}", *f[2:]])


def moved(east_m: Callable[[float], float]) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """A position that lies so far east of the true one."""

    def shifted(lon: str, lat: str, side: str, by_m: float) -> tuple[str, str]:
        degrees = float(lon[:3]) + float(lon[3:]) / 60.0
        degrees = -degrees if side == "W" else degrees
        degrees += by_m / (111_320.0 * math.cos(math.radians(float(lat[:2]))))
        whole, minutes = divmod(abs(degrees) * 60.0, 60.0)
        return f"{int(whole):03d}{minutes:08.5f}", "W" if degrees < 0 else "E"

    def rmc(f: list[str], t: float) -> list[str]:
        return [*f[:5], *shifted(f[5], f[3], f[6], east_m(t)), *f[7:]]

    def gga(f: list[str], t: float) -> list[str]:
        return [*f[:4], *shifted(f[4], f[2], f[5], east_m(t)), *f[6:]]

    return all_of(said("RMC", rmc), said("GGA", gga))


def stopped_receiver() -> Callable[[Arrival, float], Iterable[Arrival]]:
    """A receiver that says one place and no speed, with time going on."""
    kept: dict[str, list[str]] = {}

    def rmc(f: list[str], _: float) -> list[str]:
        place = kept.setdefault("RMC", f[3:7])
        return [*f[:3], *place, "0.00", "", *f[9:]]

    def gga(f: list[str], _: float) -> list[str]:
        return [*f[:2], *kept.setdefault("GGA", f[2:6]), *f[6:]]

    return all_of(
        said("RMC", rmc), said("GGA", gga), said("VTG", lambda f, _: [f[0], "", "T", "", "M", "0.00", "N", *f[7:]])
    )


Motion = Callable[[float, float, float], tuple[float, float]]


def motion(change: Motion) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """Another course (degrees) and speed (knots) over the ground, of (course, speed, seconds); places stay right."""

    def put_in(fields: list[str], speed_at: int, course_at: int, at_s: float) -> list[str]:
        course, speed = change(float(fields[course_at] or 0.0), float(fields[speed_at] or 0.0), at_s)
        out = list(fields)
        out[speed_at], out[course_at] = f"{speed:.2f}", f"{course % 360.0:.1f}"
        return out

    return all_of(
        said("RMC", lambda f, t: put_in(f, 7, 8, t)),
        said("VTG", lambda f, t: put_in(f, 5, 1, t)),
    )


def tagged(kind: str, seconds: Callable[[float], float | None]) -> Callable[[Arrival, float], Iterable[Arrival]]:
    """One kind of sentence with a tag block whose time is true plus so many seconds; None: no tag."""

    def put_in(one: Arrival, at_s: float) -> Iterable[Arrival]:
        ahead = seconds(at_s)
        if one.link == RADAR or one.data[3:6].decode() != kind or ahead is None:
            return (one,)
        tag = f"c:{one.time_ns // NS_PER_S + round(ahead)}" if abs(ahead) < 1e9 else "c:99999999999"
        value = 0
        for letter in tag:
            value ^= ord(letter)
        return (replace(one, data=f"\\{tag}*{value:02X}\\".encode() + one.data),)

    return put_in


def beside(other: Arrivals, link: int) -> Fault:
    """A second run comes on another link, or on the same."""
    return lambda arrivals: heapq.merge(arrivals, (replace(o, link=link) for o in other), key=lambda one: one.time_ns)


def flood(start_s: float, stop_s: float, a_second: int, link: int = SECOND_NMEA) -> Fault:
    """So many good sentences a second that nobody needs, on a link of their own."""
    line = (sentence("IIMTW,11.2,C") + "\r\n").encode()

    def changed(arrivals: Arrivals) -> Iterator[Arrival]:
        all_of = list(arrivals)
        step = NS_PER_S // 100
        first = all_of[0].time_ns + round(start_s * NS_PER_S)
        many = [Arrival(first + k * step, link, line * (a_second // 100)) for k in range(int((stop_s - start_s) * 100))]
        yield from heapq.merge(all_of, many, key=lambda one: one.time_ns)

    return changed
