"""Big figures: the verdict and a tile a cylinder, to be read across the bay."""

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer

from monitor.dashboard.big_tiles import tile_lines
from monitor.dashboard.block_letters import block_letters, cells_high, cells_wide
from monitor.dashboard.engine import engine_word
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.dashboard.sheet import Sheet
from monitor.dashboard.status import engine_line, source_line
from monitor.dashboard.verdict import STYLE, Verdict, verdict
from monitor.text import fit

_VERDICT_SHARE = 4
"""The verdict's letters take a quarter of the rows at most."""
_CALM = "no miss"


class BigLines(Panel):
    """Everything but the keys."""

    DEFAULT_CSS = "BigLines { height: 1fr; }"

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """As big_lines."""
        return big_lines(picture, width, self.size.height)


class Big(Sheet):
    """The same picture, drawn large."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("b", "leave", "back", show=False)]

    def __init__(self, picture: Callable[[], Picture]) -> None:
        super().__init__()
        self._picture = picture

    def compose(self) -> ComposeResult:
        """Lines and keys."""
        yield BigLines()
        yield Footer(show_command_palette=False)

    def pull(self) -> None:
        """Draw the state of now."""
        self.query_one(BigLines).show(self._picture())


def big_lines(picture: Picture, width: int, height: int) -> list[Content]:
    """`height` lines of exactly `width` cells: engine, source, verdict, tiles."""
    top = [engine_line(picture, width), source_line(picture, width)]
    band = _verdict_lines(picture, width, max(height // _VERDICT_SHARE, cells_high(1)))
    rest = height - len(top) - len(band)
    tiles = tile_lines(picture.snapshot, width, rest) if rest > 0 else []
    return [*top, *band, *tiles][:height]


def _verdict_lines(picture: Picture, width: int, rows: int) -> list[Content]:
    shown = verdict(picture)
    words, scale = _largest(_words(shown, picture), width - 1, rows)
    texts = [*block_letters(words, scale), "  ".join(filter(None, (shown.headline, shown.evidence)))]
    return [Content.styled(fit(f" {text}", width), STYLE[shown.tone]) for text in texts]


def _words(shown: Verdict, picture: Picture) -> list[str]:
    """What to write large, the fullest first."""
    if shown.tone == "waiting":
        return [engine_word(picture.snapshot)]
    if shown.tone == "calm":
        return [_CALM]
    if shown.tone == "lost":
        return [shown.headline, "lost"]
    if shown.cylinder is not None:
        return [f"cyl {shown.cylinder}"]
    return [shown.headline, shown.headline.partition("-")[0], "fault"]


def _largest(choices: list[str], width: int, rows: int) -> tuple[str, int]:
    """The words that can be written largest, and their scale; of equally large ones the fullest."""

    def scale_of(words: str) -> int:
        by_width = width // max(cells_wide(len(words), 1), 1)
        return max(min(by_width, 2 * rows // cells_high(2)), 1)

    best = max(choices, key=scale_of)
    return best, scale_of(best)
