"""The flex test on the screen and to the ear: eyes stay on the harness."""

from collections.abc import Callable
from textwrap import wrap
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.widgets import Footer

from monitor.dashboard.palette import BLACK, BLUISH_GREEN, INK, QUIET, VERMILLION
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.dashboard.sheet import Sheet
from monitor.flex.flex_test import FlexTest, WireTally
from monitor.snapshot import Snapshot
from monitor.text import fit, plain, span

_LOST_EVERY = 6
"""Pulls from one double bell to the next while a wire is lost."""


class Bell:
    """When to ring: once for what is new, twice and again and again while a wire is lost."""

    def __init__(self) -> None:
        self._count = self._pulls = 0

    def rings(self, count: int, *, is_lost: bool) -> bool:
        """Whether to ring at this pull; asked ten times a second."""
        is_new, self._count = count > self._count, count
        self._pulls = self._pulls + 1 if is_lost else 0
        return (self._pulls % _LOST_EVERY in (1, 2)) if is_lost else is_new


class FlexLines(Panel):
    """Heading, a block a wire, and what is counted."""

    DEFAULT_CSS = "FlexLines { height: 1fr; }"

    def __init__(self, flex: FlexTest) -> None:
        super().__init__()
        self._flex = flex

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """As flex_lines."""
        return flex_lines(self._flex, picture.snapshot, width)


def flex_lines(flex: FlexTest, snapshot: Snapshot, width: int) -> list[Content]:
    """Lines of exactly `width` cells."""
    state = "engine turns" if flex.is_turning else "engine stands"
    head = f" FLEX TEST  {_counted(flex.count, 'interruption')}  {state}  counts from {flex.shortest_us:.0f} us on"
    lines = [Content.styled(fit(head, width), f"bold {INK}"), Content.styled(" " * width, "")]
    if not flex.wires:
        text = " Nothing to watch: connect the feed, a coil's ground or the acknowledgement line."
        return [*lines, Content.styled(fit(text, width), INK)]
    for wire in flex.wires:
        lines += [Content.styled(fit(text, width), style) for text, style in _wire(wire, snapshot)]
    words = [line for text in _words(flex) for line in wrap(text, max(width - 2, 1))]
    return [*lines, *(Content.styled(fit(f" {text}", width), QUIET) for text in words)]


def _wire(wire: WireTally, snapshot: Snapshot) -> list[tuple[str, str]]:
    volts = next((level.volts for level in snapshot.levels if level.input == wire.input), None)
    level = "unknown" if volts is None else f"{volts:.2f} V"
    mark = "X LOST NOW" if wire.is_lost else f"! {_counted(wire.count, 'time')}" if wire.count else "· held so far"
    style = f"bold {BLACK} on {VERMILLION}" if wire.is_lost else f"bold {VERMILLION if wire.count else BLUISH_GREEN}"
    name = f" {wire.wire.upper():7} {mark:16}"
    facts = f"{level:>9}  on {plain(wire.input)[:20]}"
    if wire.count:
        facts += f"   last {span(snapshot.time_s - wire.last_s)} ago   longest {_lasted(wire.longest_us)}"
    because = f"         {wire.last_because}" if wire.last_because else ""
    return [(name + facts, style), (because, INK), ("", "")]


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _lasted(microseconds: float) -> str:
    if not microseconds:
        return "-"
    return f"{microseconds:.0f} us" if microseconds < 1000 else f"{microseconds / 1000:.1f} ms"


def _words(flex: FlexTest) -> list[str]:
    words = [
        "Move harness and connectors one at a time. One bell: something let go. Two, again and again: a wire is lost.",
        "Engine running: keep hands, sleeves and leads clear of belts and fans, and off the secondary side.",
    ]
    if flex.is_turning:
        words.append(
            "While the engine turns a low line counts when it is longer than an answer, or an answer is amiss."
        )
    return words


class Flex(Sheet):
    """On as long as it is shown. `a` begins anew."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("x", "leave", "back", show=False),
        Binding("a", "anew", "begin anew"),
    ]

    def __init__(self, picture: Callable[[], Picture], flex: FlexTest) -> None:
        super().__init__()
        self._picture, self._flex = picture, flex
        self._bell = Bell()

    def compose(self) -> ComposeResult:
        """Lines and keys."""
        yield FlexLines(self._flex)
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        """Begin to count, and to pull."""
        self._flex.begin()
        super().on_mount()

    def on_unmount(self) -> None:
        """Count no more."""
        self._flex.end()

    def pull(self) -> None:
        """Draw the count of now, and let it be heard."""
        self.query_one(FlexLines).show(self._picture())
        if self._bell.rings(self._flex.count, is_lost=any(wire.is_lost for wire in self._flex.wires)):
            self.app.bell()

    def action_anew(self) -> None:
        """Forget what was counted."""
        self._bell = Bell()
        self._flex.begin()
        self.pull()
