"""Charts and local knowledge opened in the watch's process, and told of to the screens.

The chart's library is imported inside: the screens hear from the process before it is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from moonless.helm.process.events import Event

T = TypeVar("T")

if TYPE_CHECKING:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge


def open_charts(
    charts: Sequence[Path],
    knowledge: Path | None,
    tell: Callable[[str, str], None] | None = None,
    opened: Chart | None = None,
) -> tuple[Chart | None, Knowledge | None]:
    """Return the chart and the local knowledge, each None where none was named.

    ``tell`` is given (what, one plain line) of each that is there and cannot be read: it is then gone on without, for
    radar and AIS need neither.  Without it SourceError is raised.  ``opened``: the charts, if they are open already.
    """
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge

    def known() -> Knowledge | None:
        if knowledge is None:
            return None
        knowledge.parent.mkdir(parents=True, exist_ok=True)
        return Knowledge.open(knowledge)

    chart = opened or _or_without(lambda: Chart.open(list(charts)) if charts else None, "the chart", tell)
    if chart is not None and tell is not None:
        for line in chart.unread:
            tell("the chart", f"a chart is left out: {line}")
    return chart, _or_without(known, "local knowledge", tell)


def _or_without(open_it: Callable[[], T | None], what: str, tell: Callable[[str, str], None] | None) -> T | None:
    try:
        return open_it()
    except Exception as problem:
        if tell is None:
            raise
        tell(what, f"{what} cannot be read, and the watch goes on without: {problem}")
        return None


def chart_opener(charts: Sequence[Path]) -> Callable[[], Chart | None]:
    """Return what opens a chart of one's own, for a thread that must not wait for the watch's."""

    def open_own() -> Chart | None:
        from moonless.chart.library import Chart

        return Chart.open(list(charts)) if charts else None

    return open_own


def send_chart(send: Callable[[Event], None], chart: Chart | None, paths: Sequence[Path]) -> None:
    """Say where the chart lies; its tiles are made when they are looked at."""
    if chart is None:
        return
    from moonless.helm.web.chart_json import chart_ready

    send(chart_ready(chart, paths))
