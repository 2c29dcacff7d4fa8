"""What `sort --watch` shows: photos at once when they are seen, how far each is, and in large letters where it goes."""

from __future__ import annotations

from collections.abc import Sequence
from types import TracebackType

from rich.console import Console, Group
from rich.live import Live
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from identify.box.watch import Arrival, UnderWay
from identify.commands.large import large
from identify.report import words

MOST_LARGE = 2
"""So many baits of a photo are shown in large letters."""
BAR = 30


class Screen:
    """A terminal that photos are told of; a context.  Bars are shown on a terminal only."""

    def __init__(self, out: Console) -> None:
        self._out = out
        self._live: Live | None = None

    def __enter__(self) -> Screen:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self._clear()

    def under_way(self, photos: UnderWay) -> None:
        """Show photos that are seen and not placed yet."""
        if not photos:
            self._clear()
        elif self._out.is_terminal:
            if self._live is None:
                self._live = Live(console=self._out, transient=True)
                self._live.start()
            self._live.update(bars(photos), refresh=True)

    def arrived(self, arrivals: Sequence[Arrival]) -> None:
        """Show the baits of one photo just placed."""
        self._out.print(shown(arrivals, self._out.width))

    def _clear(self) -> None:
        if self._live is not None:
            self._live.stop()
            self._live = None


def bars(photos: UnderWay) -> Table:
    """A line for each photo under way: its name, a bar, and how many of its baits are measured."""
    table = Table.grid(padding=(0, 1))
    for name, (done, of) in photos.items():
        bar = ProgressBar(total=of or 1, completed=done, width=BAR, pulse=not of)
        table.add_row(Text(name), bar, f"{done} of {of} baits" if of else "seen")
    return table


def shown(arrivals: Sequence[Arrival], columns: int) -> Panel | Group:
    """The baits of one photo just placed: one or two in large letters, more of them as a list."""
    if len(arrivals) <= MOST_LARGE:
        return Group(*(_alone(arrival, columns) for arrival in arrivals))
    table = Table(box=None, padding=(0, 1), pad_edge=False)
    for arrival in arrivals:
        look = arrival.look[0] if arrival.look else ""
        table.add_row(str(arrival.bait), arrival.pile or "Look again", _sure(arrival), look)
    return Panel(table, title=Text(arrivals[0].photo), title_align="left")


def _sure(arrival: Arrival) -> str:
    return "" if arrival.probability is None or arrival.pile is None else words.percent(arrival.probability)


def _alone(arrival: Arrival, columns: int) -> Panel:
    body = [large(text, columns - 4) for text in (arrival.pile or "Look again", _sure(arrival)) if text]
    lines = Text("\n").join(body)
    for text in arrival.look:
        lines.append(f"\n{text}", style="bold")
    if not arrival.look and arrival.pile is not None:
        lines.append("\nNothing more to look at.", style="bold")
    which = "" if arrival.bait in (None, 1) else f", bait {arrival.bait}"
    title = " · ".join(filter(None, (arrival.photo + which, arrival.piece)))
    return Panel(lines, title=Text(title), title_align="left")
