"""The level meter on the terminal: one line that is drawn over."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dustcap.bench.take import Glance

WIDTH = 30
LOWEST_DBFS = -60.0


@contextmanager
def level_meter() -> Iterator[Callable[[Glance], None]]:
    """Gives what shows a glance; shows nothing when standard error is not a terminal."""
    from rich.console import Console
    from rich.live import Live
    from rich.text import Text

    console = Console(stderr=True)
    if not console.is_terminal:
        yield lambda _glance: None
        return
    with Live(Text(""), console=console, transient=True, auto_refresh=False) as live:

        def look(glance: Glance) -> None:
            live.update(Text(*line_of(glance)), refresh=True)

        yield look
    sys.stderr.flush()


def line_of(glance: Glance) -> tuple[str, str]:
    """The line and its style: a bar from -60 dBFS to full scale, the peak in figures, the warning, the time."""
    peak = glance.meter.peak_dbfs
    filled = round(WIDTH * min(max(1.0 - peak / LOWEST_DBFS, 0.0), 1.0))
    warning = glance.meter.warning
    style = "bold red" if glance.meter.clipped else "yellow" if warning else "green"
    figures = f"{max(peak, -99.0):6.1f} dBFS  {glance.seconds:6.1f} of {glance.of_s:.1f} s"
    return f"in [{'#' * filled}{'.' * (WIDTH - filled)}] {figures}  {warning.upper()}".rstrip(), style
