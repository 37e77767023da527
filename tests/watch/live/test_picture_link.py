"""A screen as a link: a camera that goes, files that are none or are cut off; one plain line each."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

av = pytest.importorskip("av")
pytest.importorskip("cv2")

from moonless.errors import InputError, LinkError  # noqa: E402
from moonless.picture import camera  # noqa: E402
from moonless.watch.screen import pictured as link  # noqa: E402
from moonless.wire.links import ReceiptClock  # noqa: E402


def video(path: Path, seconds: float) -> Path:
    """Write a grey video of ten frames a second."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        for k in range(round(10 * seconds)):
            picture = np.full((240, 320, 3), 40 + 5 * k % 100, np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
        container.mux(stream.encode(None))
    return path


def test_two_frames_a_second_are_handed_on(tmp_path: Path) -> None:
    found = list(camera.frames(str(video(tmp_path / "a.mp4", 3.0))))
    assert len(found) == 6
    assert [at // 1_000_000 for at, _ in found] == pytest.approx([0, 500, 1000, 1500, 2000, 2500], abs=110)
    assert found[0][1].shape == (240, 320, 3)


def test_a_video_that_is_cut_off_gives_what_there_is_or_one_line(tmp_path: Path) -> None:
    # Written in pieces, so that what comes before the cut can be read.
    whole = video(tmp_path / "a.mkv", 4.0).read_bytes()
    (tmp_path / "cut.mkv").write_bytes(whole[: len(whole) // 2])
    try:
        found = list(camera.frames(str(tmp_path / "cut.mkv")))
    except InputError as problem:
        assert "\n" not in str(problem)
    else:
        assert 0 < len(found) < 8


def test_what_is_no_video_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "words.mp4").write_bytes(b"not a video at all" * 40)
    with pytest.raises(InputError, match="is no video that can be read"):
        list(camera.frames(str(tmp_path / "words.mp4")))
    with pytest.raises(InputError, match="is not there"):
        list(camera.frames(str(tmp_path / "none.mp4")))
    with pytest.raises(LinkError, match="cannot be opened"):
        list(camera.frames("/dev/video-that-is-not-there"))


def test_a_camera_that_goes_is_told_and_opened_again(monkeypatch: pytest.MonkeyPatch) -> None:
    opened = 0

    def goes(source: str) -> Iterator[tuple[int, Any]]:
        nonlocal opened
        opened += 1
        yield 0, np.zeros((240, 320, 3), np.uint8)
        raise LinkError(f"{source} has gone: no such device")

    monkeypatch.setattr(camera, "frames", goes)
    monkeypatch.setattr(link, "FIRST_PAUSE_S", 0.001)
    monkeypatch.setattr(link, "LONGEST_PAUSE_S", 0.001)
    said: list[tuple[str, str]] = []
    sent: list[bytes] = []

    async def watch() -> None:
        reading = asyncio.create_task(
            link.read_picture(
                "picture:/dev/video9?range=3", lambda data, *_: sent.append(data), lambda *one: said.append(one),
                ReceiptClock(),
            )
        )  # fmt: skip
        while opened < 3:
            await asyncio.sleep(0)
        reading.cancel()

    asyncio.run(asyncio.wait_for(watch(), 60.0))
    lost = [line for what, line in said if what == "lost"]
    assert any("has gone" in line for line in lost) and any("one brightness" in line for line in lost)
    assert not sent and not any("\n" in line for _, line in said)
