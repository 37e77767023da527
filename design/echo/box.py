"""How wide should a box be?  Signal gathered over the root of the noise gathered, against width in beams.

A Gaussian beam falls as exp(-8 ln 2 (offset / beam)^2) two way.  With many looks a box of width w gathers E(w) signal
and noise that spreads as sqrt(w): the merit is E(w) / sqrt(w).  Prints the loss in dB against the best width.

    python design/echo/box.py
"""

from __future__ import annotations

import math

import numpy as np
from scipy import special


def main() -> None:
    width = np.arange(0.4, 1.61, 0.06)
    gathered = special.erf(0.5 * width * math.sqrt(8.0 * math.log(2.0)))
    merit = 10.0 * np.log10(gathered / np.sqrt(width))
    best = merit.max()
    for w, m in zip(width, merit, strict=True):
        print(f"{w:.2f} beam  {m - best:+.2f} dB")


if __name__ == "__main__":
    main()
