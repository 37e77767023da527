"""A helm in a process of its own, small, with no more files than most systems give; run as a program and asked of."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


class Child:
    """Started with ``python helm_child.py STATIC HOST PORT SCREENS [CERTIFICATE]``."""

    def __init__(
        self, folder: Path, *, host: str = "127.0.0.1", port: int = 0, certificate: Path | None = None
    ) -> None:
        static = folder / "static"
        static.mkdir(exist_ok=True)
        (static / "index.html").write_text("<html></html>")
        (static / "offline.js").write_text("//")
        self.log, self.screens = folder / "log", folder / "data" / "screens.json"
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, str(HERE / "helm_child.py"), str(static), host, str(port), str(self.screens)]
                + ([] if certificate is None else [str(certificate)]),
                stdout=subprocess.PIPE, stderr=log, text=True,
            )  # fmt: skip
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().strip()
        self.port = int(self.address.strip("/").rpartition(":")[2])

    def kill(self) -> None:
        """End it as a crash does."""
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


def main() -> None:
    """Serve until killed."""
    static, host, port, screens = sys.argv[1:5]
    resource.setrlimit(resource.RLIMIT_NOFILE, (512, resource.getrlimit(resource.RLIMIT_NOFILE)[1]))
    sys.path.insert(0, str(HERE.parent))
    from helm_made import MadeSource

    from moonless.helm.door.pairing import Pairings
    from moonless.helm.door.tls import read_certificate
    from moonless.helm.web.serve import serve

    serve(
        MadeSource(turns=1), host=host, port=int(port), static=Path(static), pairings=Pairings(Path(screens)),
        certificate=read_certificate(Path(sys.argv[5]), None) if len(sys.argv) > 5 else None,
        on_open=lambda address: print(address, flush=True),
    )  # fmt: skip


if __name__ == "__main__":
    main()
