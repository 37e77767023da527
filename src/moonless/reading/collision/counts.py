"""How near and how soon a thing counts: the limits that calls and manoeuvres share."""

from __future__ import annotations

# A vessel's closest approach counts this long before.
MEET_S = 480.0
# A still thing counts this soon.
STILL_S = 240.0
