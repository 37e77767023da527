"""Full passes of the collector look only at what came after a chart was laid out."""

from __future__ import annotations

import gc

from moonless.watch.runtime.garbage import set_aside


class _Ring:
    def __init__(self) -> None:
        self.itself = self


def test_what_stands_is_set_aside_and_the_dead_are_not_kept() -> None:
    gc.freeze()
    held = [_Ring() for _ in range(100)]
    set_aside()
    before = gc.get_freeze_count()
    assert before >= 100
    del held
    # Set aside once more: the rings are dead, and must not stay.
    set_aside()
    assert gc.get_freeze_count() <= before - 100
    gc.unfreeze()


def test_nothing_is_done_where_the_collector_is_off() -> None:
    gc.unfreeze()
    gc.disable()
    try:
        set_aside()
        assert gc.get_freeze_count() == 0
    finally:
        gc.enable()
