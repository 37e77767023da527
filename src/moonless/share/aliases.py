"""Other names for all that has one: the same thing keeps the same other name through the run."""

from __future__ import annotations

import re
from typing import Literal

Of = Literal["vessel", "mark", "cell", "feature", "matter"]
_FORM: dict[Of, str] = {
    "vessel": "VESSEL {}", "mark": "Mark {}", "cell": "CELL{}", "feature": "{}", "matter": "matter {}",
}  # fmt: skip
OURS = re.compile(r"VESSEL \d+|Mark \d+|CELL\d+|\d+|matter \d+")
# By the form of an MMSI what sends is told (ITU-R M.585): distress devices, aids, craft of a ship, coast stations.
_DEVICES, _AIDS, _CRAFT, _COAST = ("970", "972", "974"), "99", "98", "00"
# No country has it (the lowest is 201).
NO_COUNTRY = "200"


class Aliases:
    """Gives out other names and numbers, in the order that they are asked for."""

    def __init__(self) -> None:
        self.numbers: dict[int, int] = {}
        self._names: dict[tuple[Of, str], str] = {}
        self._n: dict[str, int] = {}

    def name(self, of: Of, name: str | None) -> str | None:
        """Return the other name of something; None stays None."""
        if name is None:
            return None
        if (of, name) not in self._names:
            self._names[of, name] = _FORM[of].format(self._count(of))
        return self._names[of, name]

    def mmsi(self, mmsi: int) -> int:
        """Return the other number of a station, of the same sort of sender."""
        if mmsi not in self.numbers:
            said = f"{mmsi:09d}"
            head = next((d for d in _DEVICES if said.startswith(d)), None)
            if head is None and said[:2] in (_AIDS, _CRAFT, _COAST):
                head = said[:2] + NO_COUNTRY
            head = head or NO_COUNTRY
            self.numbers[mmsi] = int(f"{head}{self._count(head):0{9 - len(head)}d}")
        return self.numbers[mmsi]

    def _count(self, of: str) -> int:
        self._n[of] = self._n.get(of, 0) + 1
        return self._n[of]
