"""``python -m bench.autoferry DIR``: see `bench.autoferry.compare`."""

from __future__ import annotations

import sys

from bench.autoferry.compare import main

if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
