"""How near and how soon a thing counts: the limits that calls and manoeuvres share."""

from __future__ import annotations

# A vessel's closest approach counts this long before.
MEET_S = 480.0
# A still thing counts when it will be passed nearer than this share of the keep-off, this soon.
STILL_S = 240.0
STILL_SHARE = 0.5
# A beacon is meant to be passed close; only one that will be hit counts.
MARK_M = 30.0
