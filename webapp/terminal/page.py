"""The few shapes that a page in the terminal is made of."""

from collections.abc import Iterable
from dataclasses import dataclass

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from webapp.plain import fitted
from webapp.wording import Wording

INDENT = 2
LEAST_TO_KEEP_LABELS = 60


@dataclass(frozen=True)
class Page:
    """Width, encoding and wording of a page, and its shapes."""

    w: Wording
    encoding: str
    width: int

    @property
    def is_utf(self) -> bool:
        """Whether lines and blocks can be drawn."""
        return "utf" in self.encoding.lower()

    def text(self, words: str, style: str = "") -> Text:
        return Text(fitted(words, self.encoding), style=style)

    def heading(self, words: str, aside: str = "") -> Text:
        """Title of a section, with a remark in a fainter voice."""
        heading = Text("\n").append_text(self.text(words, "bold"))
        return heading.append_text(self.text(f"  {aside}", "dim")) if aside else heading

    def inset(self, *parts: RenderableType) -> Padding:
        return Padding(Group(*parts), (0, 0, 0, INDENT))

    def table(
        self,
        rows: Iterable[Iterable[str]],
        justify: str,
        head: Iterable[str] = (),
        bold: Iterable[str] = (),
        *,
        long_names: bool = False,
    ) -> Padding:
        """Columns without lines; `justify` holds l or r for each, `bold` the first cells of rows that stand out.

        Where room is short the first column stays whole, or, with `long_names`, the figures do.
        """
        table = Table(box=None, padding=(0, 3, 0, 0), pad_edge=False, show_header=bool(head), header_style="dim")
        names = list(head) or [""] * len(justify)
        for i, (name, side) in enumerate(zip(names, justify, strict=True)):
            whole = self.width >= LEAST_TO_KEEP_LABELS and (side == "r" if long_names else i == 0)
            table.add_column(self.text(name), justify="right" if side == "r" else "left", no_wrap=whole)
        standing_out = set(bold)
        for row in rows:
            cells = list(row)
            table.add_row(*map(self.text, cells), style="bold" if cells[0] in standing_out else "")
        return self.inset(table)

    def bullets(self, items: Iterable[str], mark: str = "-", style: str = "") -> Padding:
        table = Table.grid(padding=(0, 1, 0, 0))
        for item in items:
            table.add_row(self.text(mark, style), self.text(item))
        return self.inset(table)

    def bar(self, share_frac: float, longest: int = 16) -> str:
        """A bar whose length is the share."""
        return ("█" if self.is_utf else "#") * round(longest * min(1.0, max(0.0, share_frac)))
