"""The latest flags: when, what, where, how often, and what was measured."""

from textual.content import Content
from textual.events import Click, MouseScrollDown, MouseScrollUp

from monitor.dashboard.line import line
from monitor.dashboard.palette import INK, QUIET, SEVERITY_GLYPH, SEVERITY_STYLE
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.dashboard.pointed import Pointed
from monitor.flags import Flag, Kind
from monitor.marks import Mark, flags_before
from monitor.snapshot import Snapshot
from monitor.text import counted, elapsed, fit, number, plain, span

_WHEN_WIDTH, _START_WIDTH, _WHERE_WIDTH, _COUNT_WIDTH = 11, 9, 7, 6
_KIND_WIDTH = max(map(len, Kind)) + 1
_START_FROM = 100
"""Columns from which the moment of the start is shown as well."""


class Flags(Panel):
    """Heading and as many flags and marks as there is room for; leafing holds what is read while new ones come."""

    def __init__(self) -> None:
        super().__init__()
        self._first = self._known = 0

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Newest first, or from where somebody leafed to."""
        known = picture.snapshot.flags_raised + len(picture.snapshot.marks)
        if self._first:
            self._first += known - self._known
        self._known = known
        self._first = max(min(self._first, len(entries(picture.snapshot)) - 1), 0)
        return flag_lines(picture.snapshot, width, self.size.height, self._first)

    def leaf(self, pages: float) -> None:
        """Go to older ones (down), or to newer ones."""
        self._first = max(self._first + round(pages * max(self.size.height - 1, 1)), 0)
        self.redraw()

    def on_mouse_scroll_down(self, _: MouseScrollDown) -> None:
        """Older ones."""
        self.leaf(0.5)

    def on_mouse_scroll_up(self, _: MouseScrollUp) -> None:
        """Newer ones."""
        self.leaf(-0.5)

    def on_click(self, event: Click) -> None:
        """Look at the samples around it."""
        listed = entries(self.picture.snapshot)[self._first :] if self.picture else []
        if 1 <= event.y <= len(listed):
            entry = listed[event.y - 1]
            self.post_message(Pointed(entry.start_s if isinstance(entry, Flag) else entry.time_s))


def entries(snapshot: Snapshot) -> list[Flag | Mark]:
    """Flags and marks at hand, newest first."""
    both = [(flag.start_s, flag) for flag in snapshot.flags] + [(mark.time_s, mark) for mark in snapshot.marks]
    return [entry for _, entry in sorted(both, key=lambda one: one[0], reverse=True)]


def flag_lines(snapshot: Snapshot, width: int, rows: int, first: int = 0) -> list[Content]:
    """At most `rows` lines of exactly `width` cells, from the `first` flag or mark on; the heading counts all flags."""
    shown = entries(snapshot)[first : first + max(rows - 1, 0)]
    lines = [
        _line(one, snapshot.time_s, width) if isinstance(one, Flag) else _mark_line(one, snapshot, width)
        for one in shown
    ]
    return [_heading(snapshot, width, first), *lines]


def _heading(snapshot: Snapshot, width: int, first: int) -> Content:
    start = "at".ljust(_START_WIDTH) if width >= _START_FROM else ""
    columns = f"{start}{'flag':{_KIND_WIDTH}}{'where':{_WHERE_WIDTH}}{'count':>{_COUNT_WIDTH}}  what was seen"
    raised = f" {counted(snapshot.flags_raised, 'flag')}"
    raised += f" ↑{first}" if first else ""
    return Content.styled(fit(f"{raised:{_WHEN_WIDTH + 4}}{columns}", width), f"underline {QUIET}")


def _line(flag: Flag, now_s: float, width: int) -> Content:
    start = elapsed(flag.start_s).ljust(_START_WIDTH) if width >= _START_FROM else ""
    facts = f"{when(flag, now_s):{_WHEN_WIDTH}}{start}{flag.kind:{_KIND_WIDTH}}"
    where = fit(_where(flag), _WHERE_WIDTH) + number(flag.count, _COUNT_WIDTH) + "  "
    mark = (f" {SEVERITY_GLYPH[flag.severity]} ", SEVERITY_STYLE[flag.severity])
    return line([mark, (" " + facts, INK), (where, f"bold {INK}"), (plain(flag.detail), QUIET)], width)


def _mark_line(mark: Mark, snapshot: Snapshot, width: int) -> Content:
    start = elapsed(mark.time_s).ljust(_START_WIDTH) if width >= _START_FROM else ""
    facts = f"{span(snapshot.time_s - mark.time_s) + ' ago':{_WHEN_WIDTH}}{start}"
    tied = ", ".join(flag.what("cyl") for flag in flags_before(mark, snapshot.flags))
    text = f"MARK {mark.number} by {mark.by}; just before it: {tied or 'nothing flagged'}"
    return line([(" ▼ ", f"bold {INK}"), (" " + facts, INK), (plain(text), f"bold {INK}")], width)


def when(flag: Flag, now_s: float) -> str:
    """`for 2.1 s` while it lasts, `2.1 s ago` after."""
    return f"for {span(now_s - flag.start_s)}" if flag.end_s is None else f"{span(now_s - flag.end_s)} ago"


def _where(flag: Flag) -> str:
    return f"cyl {flag.cylinder}" if flag.cylinder is not None else flag.input or "-"
