"""Foreign chart files are read apart: no server is asked, no other file opened, and a crash costs one source."""

from __future__ import annotations

import contextlib
import os
import signal
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from moonless.chart.library import Chart
from moonless.chart.s57 import apart
from moonless.errors import ChartError

VRT = "<OGRVRTDataSource><OGRVRTLayer name='LNDARE'><SrcDataSource>{}</SrcDataSource></OGRVRTLayer></OGRVRTDataSource>"


def test_a_text_that_names_a_server_asks_none(tmp_path: Path) -> None:
    asked, done = threading.Event(), threading.Event()
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(0.1)
        port = server.getsockname()[1]

        def listen() -> None:
            while not done.is_set():
                with contextlib.suppress(OSError):
                    server.accept()[0].close()
                    asked.set()

        listening = threading.Thread(target=listen, daemon=True)
        listening.start()
        for k, text in enumerate(
            [VRT.format(f"/vsicurl/http://127.0.0.1:{port}/a.gpkg"), VRT.format(f"http://127.0.0.1:{port}/a.json")]
        ):
            bad = tmp_path / f"harbour{k}.gpkg"
            bad.write_text(text)
            with pytest.raises(ChartError, match=f"harbour{k}"):
                Chart.open([bad], cache_dir=tmp_path / "kept")
        done.set()
        listening.join()
    assert not asked.is_set()


def test_a_reader_begun_in_another_folder_finds_a_file_named_from_this_one(
    waters_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert len(Chart.open([waters_file], cache_dir=tmp_path / "kept").cells) == 1
    monkeypatch.chdir(tmp_path)
    Path("text.gpkg").write_text("no chart")
    with pytest.raises(ChartError, match=r"^text\.gpkg: is no chart"):
        Chart.open([Path("text.gpkg")], cache_dir=tmp_path / "kept")


def test_a_text_that_names_another_file_does_not_open_it(waters_file: Path, tmp_path: Path) -> None:
    for name, text in (("sly.gpkg", VRT.format(waters_file)), ("sly.vrt", VRT.format(waters_file))):
        (tmp_path / name).write_text(text)
        with pytest.raises(ChartError, match="is no chart"):
            Chart.open([tmp_path / name], cache_dir=tmp_path / "kept")


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_a_file_that_ends_the_reader_costs_itself_alone(waters_file: Path, tmp_path: Path) -> None:
    def killed(*_: object) -> None:
        process = apart._READER._process
        assert process is not None
        os.kill(process.pid, signal.SIGKILL)

    with pytest.raises(ChartError, match=r"the reader of charts ended on it \(SIGKILL\)"):
        Chart.open([waters_file], cache_dir=tmp_path / "kept", progress=killed)
    assert not list((tmp_path).rglob("*.npz"))
    assert len(Chart.open([waters_file], cache_dir=tmp_path / "kept").cells) == 1


def test_a_reader_that_went_for_want_of_work_is_begun_again(waters_file: Path, tmp_path: Path) -> None:
    apart._READER.end()
    assert len(Chart.open([waters_file], cache_dir=tmp_path / "kept").cells) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="Linux only")
def test_the_reader_has_no_network_where_the_system_lets_it_leave() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        program = (
            "import socket, sys, ctypes\n"
            "from moonless.chart.s57.apart_reader import CLONE_NEWNET, CLONE_NEWUSER, leave_network\n"
            "import os\n"
            "before = os.readlink('/proc/self/ns/net')\n"
            "leave_network()\n"
            "if os.readlink('/proc/self/ns/net') == before: sys.exit(7)\n"
            "try:\n"
            f"    socket.create_connection(('127.0.0.1', {server.getsockname()[1]}), 5.0)\n"
            "except OSError:\n"
            "    sys.exit(0)\n"
            "sys.exit(1)\n"
        )
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(part for part in sys.path if part)}
        done = subprocess.run([sys.executable, "-c", program], env=environment, check=False)
    if done.returncode == 7:
        pytest.skip("this system does not let a process leave its network by itself")
    assert done.returncode == 0
