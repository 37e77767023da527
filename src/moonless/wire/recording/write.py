"""A recording written: what comes in, in chunks that outlive a crash."""

from __future__ import annotations

import contextlib
import json
import tempfile
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import IO

from moonless.errors import InputError
from moonless.files import PRIVATE_FILE, flush_to_disk
from moonless.units import NS_PER_S, iso_utc
from moonless.wire.cat240 import Cat240Decoder
from moonless.wire.instruments import kind_of
from moonless.wire.recording.chunked import ChunkedFile
from moonless.wire.recording.kinds import ENCODING, RecordedKind
from moonless.wire.sentences import MAX_LINE
from moonless.wire.signalk.decoder import MAX_MESSAGE

FLUSH_NS, SYNC_NS = NS_PER_S // 2, NS_PER_S


class RecordingWriter:
    """Writes a recording.  One thread at a time; call `flush_if_due` also when nothing comes in."""

    def __init__(self, path: Path, links: Mapping[str, str] | None = None) -> None:
        """Begin a file.  ``links``: what the numbers of the links stand for, kept as metadata.

        Raises InputError if the file is there already or cannot be made: a run is never written over.
        """
        self.path = path
        try:
            self._file: IO[bytes] = path.open("xb")
            path.chmod(PRIVATE_FILE)
            index = tempfile.TemporaryFile(dir=path.parent)  # noqa: SIM115  open as long as the recording is
            self._chunks = ChunkedFile(self._file, index, ENCODING)
        except FileExistsError as problem:
            raise InputError(
                f"{path} is there already; a recording is not written over, give another name"
            ) from problem
        except OSError as problem:
            raise InputError(f"{path} cannot be written: {problem.strerror}") from problem
        if links:
            self._chunks.add_metadata("links", links)
        self._flushed_ns: int | None = None
        self._synced_ns = 0
        self._blocks: list[bytes] = []
        self._splitter = Cat240Decoder(on_block=self._blocks.append)
        self._partial: dict[int, bytes] = {}
        self._is_open = True
        flush_to_disk(self._file)
        self._syncing = _Syncing(self._file)

    def radar(self, data: bytes, received_ns: int, *, is_datagram: bool) -> None:
        """Keep radar bytes: a datagram as it is, a stream cut into its blocks."""
        if is_datagram:
            self._add("radar", data, received_ns)
            return
        self._splitter.feed(data)
        for block in self._blocks:
            self._add("radar", block, received_ns)
        self._blocks.clear()

    def nmea(self, data: bytes, received_ns: int, *, link: int = 0, is_datagram: bool = False) -> None:
        """Keep what instruments say, line by line, each kind in its channel."""
        *lines, rest = (self._partial.pop(link, b"") + data).split(b"\n")
        for line in lines:
            self._add(kind_of(line.strip()), line + b"\n", received_ns, link)
        if rest and (is_datagram or len(rest) > (MAX_MESSAGE if rest[:1] == b"{" else MAX_LINE)):
            self._add(kind_of(rest.strip()), rest + b"\r\n", received_ns, link)
        elif rest:
            self._partial[link] = rest

    def reading(self, line: Mapping[str, object], received_ns: int) -> None:
        """Keep one reading."""
        self._add("readings", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def eye(self, line: Mapping[str, object], received_ns: int) -> None:
        """Keep what the skipper saw at an echo."""
        self._add("eye", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def answer(self, key: str, received_ns: int) -> None:
        """Keep that the skipper has answered a call."""
        line = {"time": iso_utc(received_ns), "key": key}
        self._add("answers", json.dumps(line, separators=(",", ":")).encode(), received_ns)

    def flush_if_due(self, now_ns: int) -> None:
        """Hand what was taken in to the system, and to the disk, if it has waited long enough for either."""
        if self._flushed_ns is None or not 0 <= now_ns - self._flushed_ns < FLUSH_NS:
            self._flushed_ns = now_ns
            self._chunks.flush()
            self._file.flush()
            if not 0 <= now_ns - self._synced_ns < SYNC_NS:
                self._synced_ns = now_ns
                self._syncing.begin()

    def close(self) -> None:
        """Finish the file."""
        if self._is_open:
            self._is_open = False
            self._chunks.finish()
            self._syncing.wait()
            flush_to_disk(self._file)
            self._file.close()

    def abandon(self) -> None:
        """Let go of a file that cannot be written any more; what is on the disk stays readable."""
        self._is_open = False
        self._chunks.abandon()
        with contextlib.suppress(OSError):
            self._file.close()

    def _add(self, kind: RecordedKind, data: bytes, received_ns: int, link: int = 0) -> None:
        self._chunks.add(kind, received_ns, data, link)
        self.flush_if_due(received_ns)


class _Syncing:
    """Has a file on the disk, beside its writing: a slow card takes seconds for that, and what comes in meanwhile must
    reach the system all the same, or a crash would lose it.
    """

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._thread: threading.Thread | None = None
        self._problem: OSError | None = None

    def begin(self) -> None:
        """Begin, unless the last one still lasts.  Raises OSError where that one failed."""
        if self._thread is not None and self._thread.is_alive():
            return
        if self._problem is not None:
            raise self._problem
        self._thread = threading.Thread(target=self._sync, daemon=True, name="moonless-sync")
        self._thread.start()

    def wait(self) -> None:
        """Wait for one that lasts."""
        if self._thread is not None:
            self._thread.join()

    def _sync(self) -> None:
        try:
            flush_to_disk(self._file)
        except OSError as problem:
            self._problem = problem
        except ValueError:
            pass  # let go of meanwhile
