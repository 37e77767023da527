"""One look at a radar's screen from the set-up: what may be looked at, and what is told of it."""

from __future__ import annotations

import base64
import os
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import numpy as np
import pytest

from moonless.errors import InputError, LinkError
from moonless.helm.setup.picture import look_once

cv2 = pytest.importorskip("cv2", reason="pictures need the extra `picture`")


def _scope(path: Path) -> Path:
    """An invented plain scope: four rings, a heading line up, one echo."""
    picture = np.zeros((720, 960, 3), dtype=np.uint8)
    for ring in range(1, 5):
        cv2.circle(picture, (480, 360), 80 * ring, (70, 90, 40), 1, cv2.LINE_AA)
    cv2.line(picture, (480, 360), (480, 40), (70, 90, 40), 1, cv2.LINE_AA)
    cv2.ellipse(picture, (480, 360), (200, 200), 0.0, -40.0, -25.0, (60, 200, 230), 9, cv2.LINE_AA)
    cv2.imwrite(str(path), picture)
    return path


@pytest.mark.parametrize("source", ["/etc/passwd", "/dev/mem", "../../etc/passwd", "http://203.0.113.1/x.mp4"])
def test_a_screen_may_not_look_at_what_is_not_its_own(source: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="only cameras, the screen, your own folders"):
        look_once({"source": source}, [tmp_path])


def test_a_link_that_leads_out_is_followed_and_refused(tmp_path: Path) -> None:
    inside, outside = tmp_path / "home", tmp_path / "other"
    inside.mkdir()
    outside.mkdir()
    _scope(outside / "scope.png")
    os.symlink(outside / "scope.png", inside / "scope.png")
    with pytest.raises(InputError, match="only cameras"):
        look_once({"source": str(inside / "scope.png")}, [inside])


def test_what_is_found_and_what_must_be_asked(tmp_path: Path) -> None:
    source = str(_scope(tmp_path / "scope.png"))
    found = look_once({"source": source}, [tmp_path])
    assert found["picture"].startswith("data:image/png;base64,")
    assert base64.b64decode(found["picture"].partition(",")[2]).startswith(b"\x89PNG")
    # No figure is written on it: the range is asked, and no link is offered before it is told.
    assert "range" in found["needs"] and found["link"] is None
    told = look_once({"source": source, "range_nm": 1.5, "up": "bow"}, [tmp_path])
    assert told["needs"] == [] and told["link"] == f"picture:{source}?range=1.5&up=bow"


def test_a_picture_without_a_scope_is_told_in_one_line(tmp_path: Path) -> None:
    blank = tmp_path / "blank.png"
    cv2.imwrite(str(blank), np.full((480, 640, 3), 40, dtype=np.uint8))
    found = look_once({"source": str(blank)}, [tmp_path])
    assert found["link"] is None and len(found["lines"]) == 1 and found["lines"][0].endswith(".")


def test_a_playlist_asks_no_network(tmp_path: Path) -> None:
    asked: list[str] = []

    class Listener(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.send_error(404)

    with HTTPServer(("127.0.0.1", 0), Listener) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        place = f"http://127.0.0.1:{server.server_address[1]}/x.ts"
        # A list for the HLS reader, and one of the kind that names files to be put one after another.
        for name, text in (
            ("list.m3u8", f"#EXTM3U\n#EXTINF:10,\n{place}\n#EXT-X-ENDLIST\n"),
            ("list.txt", f"ffconcat version 1.0\nfile '{place}'\n"),
        ):
            listed = tmp_path / name
            listed.write_text(text, encoding="utf-8")
            with pytest.raises((InputError, LinkError)):
                look_once({"source": str(listed)}, [tmp_path])
        server.shutdown()
    assert asked == []
