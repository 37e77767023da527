"""The chart's way to the screens: said once, tiles made apart, kept, and made again if the maker dies."""

from __future__ import annotations

import asyncio
import gzip
import json
from pathlib import Path
from typing import Any

import pytest
from helm_made import LAT, LON, MadeSource, made_chart

from moonless.chart.drawn.grid import Tile, tiles_over
from moonless.helm.hub import Hub
from moonless.helm.process.events import BarMark, ChartReady, TideNow, TimeBarNow
from moonless.helm.web.app import make_app
from moonless.helm.web.chart_tiles import ChartTiles

(HERE,) = tiles_over((LON, LAT, LON, LAT), 12)


@pytest.fixture(scope="module")
def chart(tmp_path_factory: pytest.TempPathFactory) -> ChartReady:
    return made_chart(tmp_path_factory.mktemp("chart"))


def test_a_chart_is_told_as_tilejson(chart: ChartReady) -> None:
    said = json.loads(chart.body)
    # TileJSON 3.0.0, section 3: tilejson, tiles and vector_layers are required.
    assert said["tilejson"] == "3.0.0" and said["vector_layers"][0]["id"] == "area"
    assert said["tiles"] == [f"chart/{chart.key}/{{z}}/{{x}}/{{y}}.mvt"]
    west, south, east, north = said["bounds"]
    assert west < LON < east and south < LAT < north
    assert said["cells"][0]["scale"] == 12000 and said["coverage"]["type"] == "Polygon"


def test_tiles_are_made_apart_kept_and_made_again_by_a_new_maker(chart: ChartReady, tmp_path: Path) -> None:
    async def go() -> None:
        tiles = ChartTiles(chart.key, chart.paths, tmp_path)
        below = [Tile(13, 2 * HERE.x + i, 2 * HERE.y + j) for i in (0, 1) for j in (0, 1)]
        first, *rest = await asyncio.gather(tiles.get(HERE), *(tiles.get(tile) for tile in below))
        assert b"shore" in gzip.decompress(first)
        assert any(rest)
        assert await tiles.get(Tile(12, 5, 5)) == b"", "no cell is there"
        assert await tiles.get(Tile(12, 5, -5)) == b""
        process = tiles._maker._process
        process.terminate()
        process.join()
        assert await tiles.get(HERE) == first, "kept, whatever became of the maker"
        assert await tiles.get(HERE.parent(11)), "made by a new one"
        assert tiles._maker._process.pid != process.pid
        await tiles.close()
        again = ChartTiles(chart.key, chart.paths, tmp_path)
        assert await again.get(HERE) == first
        assert again._maker._process is None, "what is kept needs no maker"
        await again.close()

    asyncio.run(go())


def test_a_chart_that_has_gone_is_said_and_not_drawn_as_empty(chart: ChartReady, tmp_path: Path) -> None:
    async def go() -> None:
        tiles = ChartTiles("gone", (tmp_path / "gone.gpkg",), tmp_path)
        with pytest.raises(ChildProcessError, match="no such file"):
            await tiles.get(HERE)
        await tiles.close()

    asyncio.run(go())


@pytest.fixture
def static(tmp_path: Path) -> Path:
    (tmp_path / "index.html").write_text("<html></html>")
    return tmp_path


async def ask(app: Any, path: str, encoding: str = "gzip") -> tuple[int, dict[str, str], bytes]:
    """Ask an ASGI application one thing, without a network."""
    sent: list[dict[str, Any]] = []
    scope = {
        "type": "http", "method": "GET", "path": path, "raw_path": path.encode(), "query_string": b"", "root_path": "",
        "scheme": "http", "http_version": "1.1", "client": ("127.0.0.1", 40000), "server": ("127.0.0.1", 8440),
        "headers": [(b"host", b"127.0.0.1:8440"), (b"accept-encoding", encoding.encode())],
        "asgi": {"version": "3.0", "spec_version": "2.4"},
    }  # fmt: skip

    async def receive() -> dict[str, Any]:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        sent.append(dict(message))

    await app(scope, receive, send)
    head = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], head, b"".join(m.get("body", b"") for m in sent[1:])


def test_the_door_hands_tiles_out(chart: ChartReady, static: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(static))

    async def go() -> None:
        hub = Hub(MadeSource())
        app = make_app(hub, static=static)
        hub.take(chart)
        hub.take(TideNow(1.4))
        assert hub.chart.tiles is not None
        address = f"/chart/{chart.key}/{HERE.z}/{HERE.x}/{HERE.y}.mvt"
        status, head, body = await ask(app, address)
        assert status == 200
        assert head["content-type"] == "application/vnd.mapbox-vector-tile" and head["content-encoding"] == "gzip"
        assert "immutable" in head["cache-control"]
        assert b"shore" in gzip.decompress(body)
        _, head, plain = await ask(app, address, "identity")
        assert "content-encoding" not in head and plain == gzip.decompress(body)
        assert (await ask(app, f"/chart/{chart.key}/12/1/1.mvt"))[0] == 204
        assert (await ask(app, f"/chart/other/{HERE.z}/{HERE.x}/{HERE.y}.mvt"))[0] == 404
        _, _, told = await ask(app, f"/chart/{chart.key}.json", "identity")
        assert json.loads(told)["key"] == chart.key
        assert hub.status_body()["tide_m"] == 1.4
        assert (await ask(app, "/timebar"))[0] == 204, "only a recording has a time bar"
        hub.take(TimeBarNow(2_000_000_000, 9_000_000_000, (BarMark(4_000_000_000, "call", 3, "Vessel ahead."),)))
        _, _, bar = await ask(app, "/timebar")
        assert json.loads(bar) == {
            "first_ms": 2000, "last_ms": 9000, "is_whole": True,
            "marks": [{"at_ms": 4000, "kind": "call", "urgency": 3, "say": "Vessel ahead."}],
        }  # fmt: skip
        assert hub.chart.body()["url"] == f"chart/{chart.key}.json"
        await hub.chart.tiles.close()

    asyncio.run(go())
