"""Where the demo prints: colour, tables and a moving bar on a terminal, plain lines anywhere else."""

import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import IO, Final

from rich.console import Console
from rich.markup import escape
from rich.padding import Padding
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

Tell = Callable[[float, str], None]
PLAIN_WIDTH: Final = 118


class Screen:
    """Prints headings, sentences and tables; all text is taken as it is, never as markup.

    Parameters
    ----------
    stream
        Where to write. When it is no terminal, nothing moves, nothing is coloured and sentences are not folded.
    """

    def __init__(self, stream: IO[str]) -> None:
        self.console = Console(file=stream, highlight=False, emoji=False)
        self.lively = self.console.is_terminal
        if not self.lively:
            self.console = Console(file=stream, highlight=False, emoji=False, no_color=True, width=PLAIN_WIDTH)

    def heading(self, text: str) -> None:
        """A section begins."""
        self.console.print()
        self.console.print(f"[bold cyan]{escape(text)}[/]", soft_wrap=True)

    def subheading(self, text: str) -> None:
        """A part of a section begins."""
        self.console.print()
        self.console.print(f"[bold]{escape(text)}[/]", soft_wrap=True)

    def line(self, text: str = "", *, indent: int = 0) -> None:
        """One sentence; on a terminal folded between words, what is folded standing a little further in."""
        if self.lively:
            width = max(self.console.width - 1, 30)
            text = textwrap.fill(
                text, width, initial_indent=" " * indent, subsequent_indent=" " * (indent + 2), break_on_hyphens=False
            )
        else:
            text = " " * indent + text
        self.console.print(escape(text), soft_wrap=True)

    def table(self, columns: Sequence[str], rows: Sequence[Sequence[object]], *, numbers: Sequence[str] = ()) -> None:
        """A table; the columns named in `numbers` are set to the right."""
        table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
        for name in columns:
            table.add_column(escape(name), justify="right" if name in numbers else "left", overflow="fold")
        for row in rows:
            table.add_row(*(escape(str(cell)) for cell in row))
        if self.lively:
            self.console.print(Padding(table, (0, 0, 0, 2), expand=False))
            return
        with self.console.capture() as drawn:
            self.console.print(Padding(table, (0, 0, 0, 2), expand=False))
        for line in drawn.get().splitlines():
            self.console.print(escape(line.rstrip()), soft_wrap=True)

    @contextmanager
    def working(self) -> Iterator["Working"]:
        """A stretch of long work: a bar that moves on a terminal, one line a step elsewhere."""
        if not self.lively:
            yield Working(self, None)
            return
        bar = Progress(
            TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f} %"), TimeElapsedColumn(),
            console=self.console, transient=True,
        )  # fmt: skip
        with bar:
            yield Working(self, bar)


class Working:
    """The steps of a stretch of work."""

    def __init__(self, screen: Screen, bar: Progress | None) -> None:
        self.screen, self.bar = screen, bar

    @contextmanager
    def step(self, name: str) -> Iterator[Tell]:
        """One step; yields the function to tell how far it is."""
        if self.bar is None:
            self.screen.line(f"{name} ...")
            yield lambda share, doing: None
            return
        bar = self.bar
        task = bar.add_task(escape(name), total=1.0)
        yield lambda share, doing: bar.update(task, completed=min(max(share, 0.0), 1.0))
        bar.update(task, completed=1.0)
