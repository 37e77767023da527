"""Each track's explanation through time.

The evidence of one turn holds most of the evidence of the next: the same chart, the same offset.  Counting it anew
each turn would make the judgement certain of its own error, so turns are pooled (a geometric mean over the last few)
and not multiplied: the pooled probability is as sure as its turns are, but does not flicker.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from moonless.reading.identify.explain import CHARTED, KINDS, Explained

Floats = NDArray[np.float64]

# Share of the past in each turn's pool: three turns or so.
KEEP = 0.65


class History:
    """Pools explanations per track."""

    def __init__(self) -> None:
        self._log: dict[int, Floats] = {}
        self._mark: dict[int, tuple[int, float]] = {}

    def forget(self) -> None:
        """Begin again: the chart around was laid out anew, and its marks bear other numbers."""
        self._mark.clear()

    def likeliest(self, ids: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return (n,) which of `KINDS` each track was last told as, an index; -1: it was not told yet."""
        return np.array([int(self._log[i].argmax()) if i in self._log else -1 for i in ids.tolist()], dtype=np.int64)

    def pool(
        self, ids: NDArray[np.int64], explained: list[Explained], is_fresh: NDArray[np.bool_] | None = None
    ) -> list[Explained]:
        """Return the explanations with each track's past pooled in; tracks that are gone are forgotten.

        ``is_fresh``: (n,) whether each was seen this turn; one that was not is still what it was.
        """
        out: list[Explained] = []
        log: dict[int, Floats] = {}
        seen = np.ones(len(ids), dtype=np.bool_) if is_fresh is None else is_fresh
        for track, now, is_seen in zip(ids.tolist(), explained, seen.tolist(), strict=True):
            fresh = np.log(np.maximum(now.probability, 1e-9))
            before = self._log.get(track)
            keep = KEEP if is_seen else 1.0
            pooled = fresh if before is None else keep * before + (1.0 - keep) * fresh
            log[track] = pooled
            probability = np.exp(pooled - pooled.max())
            probability /= probability.sum()
            best = int(np.argmax(probability))
            mark, offset = now.mark, now.offset_m
            if now.mark is not None and now.offset_m is not None:
                self._mark[track] = (now.mark, now.offset_m)
            elif best == CHARTED and track in self._mark:
                mark, offset = self._mark[track]
            if best != CHARTED:
                mark = offset = None
            elif mark is None:
                # Charted by the pool, but no mark to name: the next likeliest that can be named.
                probability[CHARTED] = 0.0
                probability /= probability.sum()
                best = int(np.argmax(probability))
            out.append(
                replace(
                    now,
                    kind=KINDS[best],
                    confidence=float(probability[best]),
                    probability=probability,
                    mark=mark,
                    offset_m=offset,
                )
            )
        self._log = log
        self._mark = {track: mark for track, mark in self._mark.items() if track in log}
        return out
