"""Charts and local knowledge opened in the watch's process, and told of to the screens.

The chart's library is imported inside: the screens hear from the process before it is loaded.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from moonless.helm.process.events import Event

if TYPE_CHECKING:
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge


def open_charts(charts: Sequence[Path], knowledge: Path | None) -> tuple[Chart | None, Knowledge | None]:
    """Return the chart and the local knowledge, each None where none was named.

    Raises SourceError if one of them is there and cannot be read.
    """
    from moonless.chart.library import Chart
    from moonless.chart.local_knowledge.knowledge import Knowledge

    chart = Chart.open(list(charts)) if charts else None
    if knowledge is None:
        return chart, None
    knowledge.parent.mkdir(parents=True, exist_ok=True)
    return chart, Knowledge.open(knowledge)


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
