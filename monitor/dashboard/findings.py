"""Where to look: what is suspected, how surely, and what to measure next."""

from textwrap import wrap

from textual.content import Content

from monitor.dashboard.palette import INK, QUIET, YELLOW
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.findings.finding import Finding
from monitor.flags import MISSES
from monitor.snapshot import Snapshot
from monitor.text import elapsed, fit, plain

_BECAUSE_FROM = 7
"""Rows from which the reason is shown as well; what to do next comes first."""

_MORE = " … d: all"


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
        texts[rows - 1] = (_with_more(text, width - 2), style)
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
    """When anybody first missed, where all flags are still known."""
    misses = [flag.start_s for flag in snapshot.flags if flag.kind in MISSES]
    if not misses:
        return ""
    word = "since" if snapshot.flags_raised == len(snapshot.flags) else "since before"
    return f", misses {word} {elapsed(min(misses))}"


def _wrapped(text: str, style: str, width: int) -> list[tuple[str, str]]:
    return [(line, style) for line in wrap(plain(text), max(width - 2, 1))]


def _with_more(text: str, width: int) -> str:
    """As many whole words as leave room to say where the rest is."""
    room = max(width - len(_MORE), 0)
    return (text if len(text) <= room else text[: room + 1].rpartition(" ")[0]) + _MORE


def whole_text(found: tuple[Finding, ...]) -> str:
    """Every finding in full, the surest first."""
    if not found:
        return "Nothing points anywhere yet."
    return "\n\n".join(map(_in_full, found))


def _in_full(one: Finding) -> str:
    lines = (f"LOOK AT: {one.suspect} ({one.confidence})", f"because {one.because}", f"NEXT: {one.next}")
    return "\n".join(map(plain, lines))
