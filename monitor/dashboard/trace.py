"""The trace view: all inputs aligned, looked at by keys while the analysis goes on."""

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.events import Click, MouseScrollDown, MouseScrollUp
from textual.widgets import Footer

from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.dashboard.sheet import Sheet
from monitor.dashboard.trace_lines import LEFT, Looked, dots, lanes_shown, trace_lines
from monitor.hookup import Hookup
from monitor.snapshot import Snapshot
from monitor.trace.braille import DOTS_WIDE
from monitor.trace.store import TraceStore
from monitor.trace.view import View

_CYCLES = 2
_WIDTH_S = 0.25
"""Shown at first: so many cycles; so long where the engine stands."""
_LONGEST_S = 2.0


def first_view(store: TraceStore, hookup: Hookup, rpm: float | None) -> View:
    """The latest cycles, following."""
    cycle_rev = hookup.setup.engine.cycle_deg / 360.0
    wide_s = min(_CYCLES * cycle_rev * 60.0 / rpm, _LONGEST_S) if rpm else _WIDTH_S
    return View.of(store.end, max(min(store.index(wide_s), store.size), 1))


def next_moment(store: TraceStore, snapshot: Snapshot, cursor: int, way: int) -> int | None:
    """Sample of the nearest flag or mark after the cursor (`way` 1) or before it (-1), None where there is none."""
    times = [flag.start_s for flag in store.flags] + [mark.time_s for mark in snapshot.marks]
    beyond = [index for index in map(store.index, times) if (index - cursor) * way > 0]
    return min(beyond, key=lambda index: abs(index - cursor), default=None)


class TracePanel(Panel):
    """Everything but the keys."""

    DEFAULT_CSS = "TracePanel { height: 1fr; }"

    def __init__(self, store: TraceStore, hookup: Hookup, view: View) -> None:
        super().__init__()
        self.store, self.hookup, self.view = store, hookup, view
        self.first_lead = 0
        self.message = ""

    @property
    def dots(self) -> int:
        """Columns of dots."""
        return dots(self.size.width)

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """As trace_lines."""
        least = min(dots(width), self.store.size)
        if self.view.samples < least:
            self.view.zoom(least / self.view.samples, least, self.store.size)
        self.view.follow(self.store.end)
        marks = picture.snapshot.marks
        looked = Looked(self.store, self.hookup, self.view, marks, self.first_lead, self.message)
        return trace_lines(looked, width, self.size.height)

    def index_at(self, cell: int) -> int | None:
        """Sample at a cell of the screen, None beside the drawing."""
        at = (cell - LEFT) * DOTS_WIDE
        return self.view.start + at * self.view.samples // self.dots if 0 <= at < self.dots else None


class Trace(Sheet):
    """Follows the newest samples, or holds at `time_s`, until a key moves something; `end` follows again, or holds."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("t", "leave", "back", show=False),
        Binding("left", "pan(-1)", "pan", key_display="←→"),
        Binding("right", "pan(1)", "pan", show=False),
        Binding("up,plus", "zoom(0.5)", "zoom", key_display="↑↓"),
        Binding("down,minus", "zoom(2.0)", "zoom", show=False),
        Binding("comma", "step(-1)", "cursor", key_display=",."),
        Binding("full_stop", "step(1)", "cursor", show=False),
        Binding("less_than_sign,shift+left", "step(-10)", "cursor", show=False),
        Binding("greater_than_sign,shift+right", "step(10)", "cursor", show=False),
        Binding("enter", "place", "measure", key_display="enter"),
        Binding("w", "swap", "swap"),
        Binding("backspace", "unplace", "one cursor", show=False),
        Binding("pageup", "jump(-1)", "flag", key_display="pgup/dn"),
        Binding("pagedown", "jump(1)", "flag", show=False),
        Binding("end", "follow", "newest", key_display="end"),
        Binding("i", "inputs", "inputs"),
    ]

    def __init__(
        self, picture: Callable[[], Picture], store: TraceStore, hookup: Hookup, time_s: float | None = None
    ) -> None:
        super().__init__()
        self._picture, self._store = picture, store
        self._panel = TracePanel(store, hookup, first_view(store, hookup, picture().snapshot.rpm))
        if time_s is not None:
            self._view.go_to(store.index(time_s))

    def compose(self) -> ComposeResult:
        """Drawing and keys."""
        yield self._panel
        yield Footer(show_command_palette=False, compact=True)

    def pull(self) -> None:
        """Draw what is kept now."""
        self._panel.show(self._picture())

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Leafing through the inputs is offered where they do not all fit."""
        if action == "inputs":
            leads = len(self._panel.hookup.leads)
            return lanes_shown(leads, self._panel.size.height) < leads
        return super().check_action(action, parameters)

    @property
    def _view(self) -> View:
        self._panel.message = ""
        return self._panel.view

    def action_pan(self, steps: int) -> None:
        """Move by eighths of what is shown."""
        self._view.pan(steps, self._store.oldest, self._store.end)
        self.pull()

    def action_zoom(self, factor: float) -> None:
        """Closer down to one sample a column, wider up to all that is kept."""
        self._view.zoom(factor, min(self._panel.dots, self._store.size), self._store.size)
        self.pull()

    def action_step(self, columns: int) -> None:
        """Move the cursor."""
        self._view.step(columns, self._panel.dots)
        self.pull()

    def action_place(self) -> None:
        """Leave the other cursor here."""
        view = self._view
        view.is_following = False
        view.place()
        self.pull()

    def action_swap(self) -> None:
        """Move the other one."""
        self._view.swap()
        self.pull()

    def action_unplace(self) -> None:
        """Take the other one away."""
        self._view.other = None
        self.pull()

    def action_jump(self, way: int) -> None:
        """Go to the flag or mark before or after the cursor."""
        view = self._view
        index = next_moment(self._store, self._picture().snapshot, view.cursor, way)
        if index is None:
            self._panel.message = f"no {'later' if way > 0 else 'earlier'} flag or mark"
        else:
            view.go_to(index)
        self.pull()

    def action_follow(self) -> None:
        """Hold, or follow the newest."""
        self._view.toggle_following()
        self.pull()

    def action_inputs(self) -> None:
        """Show the next inputs."""
        leads = len(self._panel.hookup.leads)
        shown = lanes_shown(leads, self._panel.size.height)
        further = self._panel.first_lead + shown
        self._panel.first_lead = 0 if further >= leads else min(further, leads - shown)
        self.pull()

    def on_click(self, event: Click) -> None:
        """Put the cursor there."""
        is_on_it = self._panel.region.contains(event.screen_x, event.screen_y)
        index = self._panel.index_at(event.screen_x) if is_on_it else None
        if index is not None:
            self._view.point(index)
            self.pull()

    def on_mouse_scroll_up(self, _: MouseScrollUp) -> None:
        """Closer."""
        self.action_zoom(0.5)

    def on_mouse_scroll_down(self, _: MouseScrollDown) -> None:
        """Wider."""
        self.action_zoom(2.0)
