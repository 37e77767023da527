"""Of several sources of one thing the one that is followed, why in words, and when two are told to disagree."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest

from moonless.units import NS_PER_S
from moonless.watch.instruments.source_agreement import SourceAgreement
from moonless.watch.instruments.source_priority import SentenceSource, choose_sources, is_chosen, source_words

T0 = 1_900_000_000 * NS_PER_S


def _ns(seconds: float) -> int:
    return T0 + round(seconds * NS_PER_S)


def _offer(what: Any, kind: str, link: str = "a", talker: str = "GP", first_s: float = 0.0, last_s: float = 10.0,
           magnetic: bool = False) -> SentenceSource:  # fmt: skip
    return SentenceSource(what, link, talker, kind, _ns(first_s), _ns(last_s), "", magnetic)


@pytest.mark.parametrize(
    ("what", "in_order"),
    [
        ("position", [("RMC", "129029"), ("GGA",), ("GLL",), ("129025",), ("SK",), ("XYZ",)]),
        ("motion", [("RMC", "129026"), ("VTG",), ("SK",), ("XYZ",)]),
        ("date", [("RMC", "129029"), ("ZDA", "126992"), ("SK",), ("XYZ",)]),
    ],
)  # fmt: skip
def test_the_order_that_the_rules_give(what: Any, in_order: list[tuple[str, ...]]) -> None:
    for earlier, later in itertools.combinations(in_order, 2):
        for better, worse in itertools.product(earlier, later):
            # The worse was heard first, and is named first: it makes no difference.
            (found,) = choose_sources(
                [_offer(what, worse, "a", "W"), _offer(what, better, "b", "B", 5.0)], {}, _ns(10.0)
            )
            assert found.taken.kind == better and [w.kind for w in found.waiting] == [worse]
    for kinds in in_order:
        for first, second in itertools.permutations(kinds, 2):
            (found,) = choose_sources(
                [_offer(what, first, "a", "W", 2.0), _offer(what, second, "b", "B", 1.0)], {}, _ns(10.0)
            )
            assert found.taken.kind == second


def test_what_is_said_of_two_sources() -> None:
    silent = "over when it has been silent for 2 seconds"
    for offers, why in (
        ([_offer("heading", "HDT", "a", "HE")], "the only heading heard"),
        ([_offer("heading", "HDG", "a", "HC", magnetic=True), _offer("heading", "HDT", "b", "HE", 3.0)],
         "two say heading: HE HDT on b is followed, because a true heading goes before a compass; the other takes "
         + silent),
        ([_offer("position", "129029", "can0", "35"), _offer("position", "GGA", "b"),
          _offer("position", "SK", "c", "")],
         "3 say position: group 129029 of device 35 on can0 is followed, because 129029 goes before GGA; another takes "
         + silent),
        ([_offer("turn", "ROT", "a", "HE"), _offer("turn", "ROT", "b", "TI", 1.0)],
         f"two say rate of turn: HE ROT on a is followed, because it was heard first; the other takes {silent}"),
        ([_offer("depth", "DPT"), _offer("depth", "DBT", "b")], "all of them are used"),
        ([_offer("radar", "CAT240"), _offer("radar", "CAT240", "b"), _offer("radar", "CAT240", "c")],
         "3 links carry radar video: choose one; the other is not read"),
    ):  # fmt: skip
        (found,) = choose_sources(offers, {}, _ns(10.0))
        assert found.why == why and found.is_conflict is (len(offers) > 1)
    (found,) = choose_sources(
        [_offer("turn", "ROT", "a", "HE"), _offer("turn", "ROT", "b", "TI", 1.0)], {"turn": ("b", "")}, _ns(10.0)
    )
    assert found.taken.talker == "TI" and "because you chose it" in found.why
    assert source_words(_offer("wind", "SK", "c", "gps")) == "Signal K source gps on c"
    assert source_words(_offer("wind", "SK", "c", "")) == "Signal K on c"
    assert source_words(_offer("wind", "MWV", "c", "")) == "MWV on c"


def test_things_are_told_in_the_order_a_skipper_asks() -> None:
    offers = [_offer(what, "X") for what in ("wind", "ais", "heading", "radar", "date", "position")]
    assert [c.what for c in choose_sources(offers, {}, _ns(10.0))] == [
        "radar",
        "position",
        "heading",
        "date",
        "wind",
        "ais",
    ]


@pytest.mark.parametrize(
    ("what", "gone_s"), [("position", 6.0), ("radar", 6.0), ("date", 15.0), ("targets", 15.0), ("ais", 180.0)]
)
def test_how_long_a_source_is_there(what: Any, gone_s: float) -> None:
    offer = _offer(what, "X", last_s=0.0)
    assert offer.is_there(_ns(gone_s - 0.1)) and not offer.is_there(_ns(gone_s + 0.1))


def test_what_is_chosen_is_by_link_and_talker() -> None:
    for wanted, chosen in ((("a", "GP"), True), (("a", ""), True), (("a", "GN"), False), (("b", "GP"), False)):
        assert is_chosen("position", "a", "GP", {"position": wanted}) is chosen
    assert not is_chosen("heading", "a", "GP", {"position": ("a", "GP")})


# --- two that disagree ------------------------------------------------------------------------------------------------


def _place(off_m: float, north: bool) -> tuple[float, float]:
    """A place so far from 60 north, 179.9999 east, where a degree of longitude is half as long, over the date line."""
    degrees = math.degrees(off_m / 6_371_008.8)
    return (60.0 + degrees, 179.9999) if north else (60.0, math.remainder(179.9999 + 2.0 * degrees, 360.0))


def _run(
    what: Any, values: Any, seconds: float, begin_s: float = 0.0, agreement: SourceAgreement | None = None
) -> SourceAgreement:
    """Two sources, once a second each: ``values(t)`` gives both."""
    agreement = agreement or SourceAgreement()
    for k in range(round(seconds) + 1):
        mine, other = values(begin_s + k)
        agreement.said(what, ("a", "GP"), True, _ns(begin_s + k), mine)
        agreement.said(what, ("b", "GN"), False, _ns(begin_s + k), other)
    return agreement


@pytest.mark.parametrize("north", [True, False])
def test_two_places_apart_are_told_since_they_parted(north: bool) -> None:
    # A hundred metres for five seconds: two antennas, two receivers, and a second at 20 knots.
    lasts, limit = 5.0, 100.0
    for off, is_told in ((0.97 * limit, False), (1.03 * limit, True)):
        run = _run("position", lambda t, off=off: (_place(0.0, north), _place(off, north)), lasts + 2.0)
        assert [(f.what, f.state, f.since_ns) for f in run.faults(_ns(lasts + 2.0))] == (
            [("position", "disagrees", _ns(0.0))] if is_told else []
        )
    early = _run("position", lambda t: (_place(0.0, north), _place(1.03 * limit, north)), math.ceil(lasts) - 1.0)
    assert early.faults(_ns(math.ceil(lasts) - 1.0)) == ()


def test_a_disagreement_ends_when_they_have_agreed_as_long_and_is_none_with_a_silent_source() -> None:
    # Fifteen degrees for ten seconds; a source that has not spoken for two and a half is none.
    lasts, off, fresh_s = 10, math.radians(15.2), 2.5
    run = _run("heading", lambda t: ((6.2,), (math.remainder(6.2 + off, math.tau) % math.tau,)), lasts + 1.0)
    end = lasts + 1.0
    assert len(run.faults(_ns(end))) == 1
    # Either of them silent: nothing to compare.
    assert len(run.faults(_ns(end + fresh_s - 0.1))) == 1 and run.faults(_ns(end + fresh_s + 0.1)) == ()
    again = _run("heading", lambda t: ((6.2,), (6.2,)), lasts - 1.0, end + 1.0, run)
    assert len(again.faults(_ns(end + lasts))) == 1
    over = _run("heading", lambda t: ((6.2,), (6.2,)), 2.0, end + 1.0 + lasts, again)
    assert over.faults(_ns(end + 3.0 + lasts)) == ()
