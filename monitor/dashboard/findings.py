"""Where to look: what is suspected, how surely, and what to measure next."""

from textwrap import wrap
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Static

from monitor.dashboard.palette import INK, QUIET, YELLOW
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.findings.finding import Finding
from monitor.flags import Kind
from monitor.snapshot import Snapshot
from monitor.text import elapsed, fit, plain

_MISSES = (Kind.MISSING_ACKNOWLEDGEMENT, Kind.MISSING_COMMAND)
_BECAUSE_FROM = 7
"""Rows from which the reason is shown as well; what to do next comes first."""


class Findings(Panel):
    """The surest finding, as far as there is room."""

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """As finding_lines."""
        return finding_lines(picture.snapshot, width, self.size.height)


def finding_lines(snapshot: Snapshot, width: int, rows: int) -> list[Content]:
    """At most `rows` lines of exactly `width` cells; the last says where more is left than there is room for."""
    if not snapshot.findings or rows <= 0:
        return []
    texts = [line for text, style in _parts(snapshot, rows) for line in _wrapped(text, style, width)]
    if len(texts) > rows:
        text, style = texts[rows - 1]
        texts[rows - 1] = (f"{text[: max(width - 12, 0)]} … d: all", style)
    return [Content.styled(fit(f" {text}", width), style) for text, style in texts[:rows]]


def _parts(snapshot: Snapshot, rows: int) -> list[tuple[str, str]]:
    """What to tell of the surest finding, the most needed first."""
    first = snapshot.findings[0]
    parts = [
        (f"LOOK AT: {first.suspect} ({first.confidence}){_since(snapshot)}", f"bold {YELLOW}"),
        (f"NEXT: {first.next}", INK),
    ]
    return parts if rows < _BECAUSE_FROM else [*parts, (f"because {first.because}", QUIET)]


def _since(snapshot: Snapshot) -> str:
    """When it began: the first miss, where all flags are still known."""
    misses = [flag.start_s for flag in snapshot.flags if flag.kind in _MISSES]
    if not misses:
        return ""
    word = "since" if snapshot.flags_raised == len(snapshot.flags) else "since before"
    return f", {word} {elapsed(min(misses))}"


def _wrapped(text: str, style: str, width: int) -> list[tuple[str, str]]:
    return [(line, style) for line in wrap(plain(text), max(width - 2, 1))]


def whole_text(found: tuple[Finding, ...]) -> str:
    """Every finding in full, the surest first."""
    if not found:
        return "Nothing points anywhere yet."
    blocks = (f"LOOK AT: {one.suspect} ({one.confidence})\nbecause {one.because}\nNEXT: {one.next}" for one in found)
    return "\n\n".join("\n".join(map(plain, block.split("\n"))) for block in blocks)


class FindingsPage(ModalScreen[None]):
    """All findings as they stood when it was opened; the analysis goes on underneath."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q,d,space", "dismiss", "back", show=True)]

    CSS = """
    FindingsPage { align: center middle; }
    FindingsPage VerticalScroll { width: 100; max-width: 100%; height: auto; max-height: 100%; padding: 0 1; }
    FindingsPage VerticalScroll { background: #1C1C1C; }
    """

    def __init__(self, found: tuple[Finding, ...]) -> None:
        super().__init__()
        self._found = found

    def compose(self) -> ComposeResult:
        """One page that scrolls where the terminal is small."""
        with VerticalScroll():
            yield Static(whole_text(self._found), markup=False)
