"""A progress bar on standard error, where there is somebody to see it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def bar(quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """Yield a function (words, share done) that shows how far the work is, on standard error."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield lambda words, done: None
        return
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f}%"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("", total=1.0)
        yield lambda words, done: progress.update(task, description=words, completed=done)
