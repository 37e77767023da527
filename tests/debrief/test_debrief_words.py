"""Figures of a debrief in words: the time of day where the skipper was, and what was done."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from moonless.debrief.words import Words, followed_words
from moonless.units import utc_to_ns


def test_times_are_those_of_the_skippers_zone() -> None:
    # Ten hours ahead of UTC, as in Brisbane: half past two in the afternoon is half past midnight of the next day.
    at = utc_to_ns(datetime(2031, 3, 2, 14, 30, 5, tzinfo=UTC))
    there = Words(timezone(timedelta(hours=10)), "nm")
    assert (there.clock(at), there.minute(at)) == ("00:30:05", "00:30")
    assert "3" in there.date(at).split(":")[0] and "00:30" in there.date(at)
    assert there.clock(None) == "—"


@pytest.mark.parametrize(("followed", "words"), [(True, "followed"), (False, "not followed"), (None, "cannot be told")])
def test_what_was_done_about_an_order(followed: bool | None, words: str) -> None:
    order: Any = type("Order", (), {"followed": followed})()
    assert followed_words(order) == words
