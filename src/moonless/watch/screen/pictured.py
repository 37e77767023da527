"""A radar by its screen, as a link like any other: frames in from a thread, radar video out.

    picture:SOURCE?range=NM&up=bow|north&echo=X,Y&not_echo=X,Y

The source is opened again when it goes.  Frames that wait are passed over: only the newest is looked at.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from urllib.parse import parse_qsl

from moonless.clock import SystemClock
from moonless.errors import InputError, MoonlessError
from moonless.picture.told import Told
from moonless.units import NS_PER_S
from moonless.watch.screen.transcribe import blocks_of, summary_of
from moonless.wire.links import FIRST_PAUSE_S, LONGEST_PAUSE_S, LinkSpec, Put, ReceiptClock, Say, read_link

SCHEME = "picture:"


def source_of(link: str) -> tuple[str, Told]:
    """Return the source a picture link names and what it tells.  Raises InputError, saying which part is wrong."""
    source, _, query = link.removeprefix(SCHEME).partition("?")
    if not source:
        raise InputError(f"link {link!r}: no source is named; write picture:SOURCE")
    told: dict[str, str] = dict(parse_qsl(query, keep_blank_values=True))
    unknown = set(told) - {"range", "up", "echo", "not_echo"}
    if unknown:
        raise InputError(f"link {link!r}: {sorted(unknown)[0]!r} is not known; range, up, echo and not_echo are")
    up = told.get("up")
    if up not in (None, "bow", "north"):
        raise InputError(f"link {link!r}: up is {up!r}; it is bow or north")
    range_nm = None
    if "range" in told:
        range_nm = _number(link, told["range"])
        if not 0.02 <= range_nm <= 96.0:
            raise InputError(f"link {link!r}: range is {range_nm:g}; it lies between 0.02 and 96 NM")
    return source, Told(
        range_nm, "bow" if up == "bow" else "north" if up == "north" else None,
        _place(link, told.get("echo")), _place(link, told.get("not_echo")),
    )  # fmt: skip


def _number(link: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise InputError(f"link {link!r}: {text!r} is no number") from None


def _place(link: str, text: str | None) -> tuple[tuple[float, float], ...]:
    if text is None:
        return ()
    parts = text.split(",")
    if len(parts) != 2:
        raise InputError(f"link {link!r}: {text!r} is not X,Y")
    return ((_number(link, parts[0]), _number(link, parts[1])),)


async def read_any_link(spec: LinkSpec, put: Put, say: Say, clock: ReceiptClock) -> None:
    """Read a link of any kind until cancelled; see `moonless.wire.links.read_link`."""
    if spec.kind == "picture":
        await read_picture(spec.text, put, say, clock)
    else:
        await read_link(spec, put, say, clock)


async def read_picture(link: str, put: Put, say: Say, clock: ReceiptClock) -> None:
    """Read a screen until cancelled (a video file: until its end)."""
    from moonless.picture.camera import is_live

    source, told = source_of(link)
    pause = FIRST_PAUSE_S
    while True:
        over = await _Reader(link, source, told, put, say, clock).run()
        if over and not is_live(source):
            say("ended", f"{link}: at its end")
            return
        await asyncio.sleep(pause)
        pause = min(2.0 * pause, LONGEST_PAUSE_S)


class _Reader:
    """One opening of a source, in a thread of its own."""

    def __init__(self, link: str, source: str, told: Told, put: Put, say: Say, clock: ReceiptClock) -> None:
        self._link, self._source, self._told = link, source, told
        self._put, self._say, self._clock = put, say, clock
        self._loop = asyncio.get_running_loop()
        self._stop = threading.Event()
        self._done: asyncio.Future[bool] = self._loop.create_future()

    async def run(self) -> bool:
        """Return whether it came to an end of its own."""
        threading.Thread(target=self._work, name=f"link {self._link}", daemon=True).start()
        try:
            return await self._done
        finally:
            self._stop.set()

    def _work(self) -> None:
        over = True
        try:
            self._read()
        except MoonlessError as problem:
            over = isinstance(problem, InputError)
            self._call(self._say, "lost", f"{self._link}: {problem}")
        # A driver may fail in ways of its own; the watch goes on and opens it again.
        except Exception as problem:
            over = False
            self._call(self._say, "lost", f"{self._link}: {problem!r}")
        self._call(self._end, over)

    def _end(self, over: bool) -> None:
        if not self._done.done():
            self._done.set_result(over)

    def _read(self) -> None:
        from moonless.picture.camera import frames, is_live
        from moonless.picture.stream import PictureStream

        stream = PictureStream(self._told)
        live = is_live(self._source)
        began_ns = SystemClock().now_ns()
        was_reading = False
        for at_ns, picture in frames(self._source):
            if self._stop.is_set():
                return
            received_ns = self._clock.now_ns()
            if not live:
                # A file is played at the pace it was taken in.
                wait_s = (began_ns + at_ns - SystemClock().now_ns()) / NS_PER_S
                if wait_s > 0.0 and self._stop.wait(wait_s):
                    return
                received_ns = self._clock.now_ns()
            out = stream.put(picture, received_ns)
            for line in out.said:
                self._call(self._say, "open" if stream.is_reading else "lost", f"{self._link}: {line}")
            if stream.is_reading and not was_reading and not out.said:
                self._call(self._say, "open", f"{self._link}: reading")
            was_reading = stream.is_reading
            if out.spokes and out.errors is not None:
                blocks = [summary_of(out.errors, received_ns), *blocks_of(out.spokes)]
                now_ns = self._clock.now_ns()
                self._call(self._put, b"".join(blocks), now_ns, False)

    def _call(self, work: object, *given: object) -> None:
        # The loop may have closed while the thread was reading.
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(work, *given)  # type: ignore[arg-type]
