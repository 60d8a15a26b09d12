"""The live screen as an application: pulls a picture a few times a second and hands it to its parts."""

import threading
import time
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.events import Resize
from textual.filter import NoColor
from textual.theme import Theme
from textual.widgets import Footer

from monitor.alerts import Alert, chosen_alerts
from monitor.dashboard.alarm import RESTORE_TITLE, SAVE_TITLE, Alarm
from monitor.dashboard.big import Big
from monitor.dashboard.cautions import Cautions
from monitor.dashboard.findings import Findings, whole_text
from monitor.dashboard.flags import Flags
from monitor.dashboard.flex import Flex
from monitor.dashboard.help import help_text
from monitor.dashboard.lanes import TURNS_A_COLUMN, Lanes
from monitor.dashboard.leaving import abandon
from monitor.dashboard.monochrome import is_monochrome
from monitor.dashboard.page import Following, Page
from monitor.dashboard.palette import BLACK, BLUISH_GREEN, INK, ORANGE, SKY_BLUE, VERMILLION
from monitor.dashboard.picture import Picture, Player, Watched
from monitor.dashboard.plan import plan
from monitor.dashboard.pointed import Pointed
from monitor.dashboard.room import has_room, is_gone
from monitor.dashboard.sheet import PULLS_PER_S
from monitor.dashboard.status import Status
from monitor.dashboard.trace import Trace
from monitor.dashboard.verdict import VerdictBand
from monitor.flex.flex_test import FlexTest
from monitor.hookup import Hookup
from monitor.rates import is_loaded, load
from monitor.trace.store import TraceStore

_THEME = Theme(
    "coilcall",
    primary=SKY_BLUE,
    accent=SKY_BLUE,
    success=BLUISH_GREEN,
    warning=ORANGE,
    error=VERMILLION,
    foreground=INK,
    background=BLACK,
    surface=BLACK,
    panel=BLACK,
    dark=True,
)
_LOAD_AFTER_S = 2.0
"""What bounds of rates need is loaded when the first verdict is there and has not had to wait for it."""


class Dashboard(App[None]):
    """Which cylinder, which wire, when.

    `player` is there only over a recording, `flex` and `traced` only where samples are. `alerts` are those
    chosen for this terminal unless said otherwise.
    """

    TITLE = "coilcall"
    ENABLE_COMMAND_PALETTE = False
    CSS = "Screen { layout: vertical; overflow: hidden; } Status { height: 2; }"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,ctrl+c", "quit", "quit", key_display="q", priority=False),
        Binding("question_mark", "help", "help", key_display="?"),
        Binding("space", "player('toggle_pause')", "pause"),
        Binding("j", "player('later')", "next"),
        Binding("k", "player('earlier')", "before", show=False),
        Binding("n", "player('step')", "step", show=False),
        Binding("f", "player('faster')", "faster", show=False),
        Binding("s", "player('slower')", "slower", show=False),
        Binding("home", "player('beginning')", "begin", show=False),
        Binding("m", "mark", "mark"),
        Binding("d", "findings", "details"),
        Binding("t", "trace", "trace"),
        Binding("b", "big", "big"),
        Binding("x", "flex", "flex"),
        Binding("c", "columns", "columns"),
        Binding("z", "mute", "mute"),
        Binding("pagedown", "leaf(1)", "older flags", show=False),
        Binding("pageup", "leaf(-1)", "newer flags", show=False),
    ]

    def __init__(
        self,
        watched: Watched,
        player: Player | None = None,
        flex: FlexTest | None = None,
        traced: tuple[TraceStore, Hookup] | None = None,
        alerts: frozenset[Alert] | None = None,
    ) -> None:
        super().__init__(ansi_color=is_monochrome() or None)
        if self.ansi_color and not self.no_color:
            self.no_color = True
            self._filters.append(NoColor())
        self._watched = watched
        self._player = player
        self._flex = flex
        self._traced = traced
        self._alarm = Alarm(chosen_alerts() if alerts is None else alerts)
        self._is_muted = False
        self.leaving = threading.Event()
        """Set when it ends, before the last is written."""
        self._turns_per_column: int | None = None
        self._shown: Picture | None = None
        self._had_bounds = False

    def compose(self) -> ComposeResult:
        """From the top: engine and source, verdict, lanes, flags, keys."""
        yield Status()
        yield VerdictBand()
        yield Lanes()
        yield Findings()
        yield Flags()
        yield Footer(show_command_palette=False)

    def on_mount(self) -> None:
        """Begin to pull."""
        self.register_theme(_THEME)
        self.theme = _THEME.name
        self._send(SAVE_TITLE)
        self.pull()
        self.set_interval(1 / PULLS_PER_S, self.pull)
        self.set_timer(_LOAD_AFTER_S, threading.Thread(target=load, name="bounds").start)

    def on_unmount(self) -> None:
        """Leave the terminal as it was."""
        self.leaving.set()
        self._send(RESTORE_TITLE)

    def _send(self, sequence: str) -> None:
        if sequence and self._driver is not None:
            self._driver.write(sequence)

    def on_resize(self, event: Resize) -> None:
        """Share the rows out anew."""
        self._arrange(event.size.height)

    def picture(self) -> Picture:
        """What there is to draw now."""
        return Picture(self._watched.snapshot(), self._watched.source(), self._turns_per_column, self._is_muted)

    def pull(self) -> None:
        """Draw the state of now, if it is another than the one on the screen."""
        if is_gone():
            abandon()
            self.exit()
        # While it ends, the screen still stands when its parts are gone already.
        if not self.is_running or not has_room():
            return
        screens = self.screen_stack
        picture = self.picture()
        self._alarm.is_muted = self._is_muted or isinstance(screens[-1], Flex)  # the flex test has a bell of its own
        self._send(self._alarm.take(picture, time.monotonic()))
        if (picture, is_loaded()) == (self._shown, self._had_bounds):
            return
        before, self._shown, self._had_bounds = self._shown, picture, is_loaded()
        if before is None or bool(before.snapshot.findings) != bool(picture.snapshot.findings):
            self._arrange(self.size.height)
        for part in (Status, VerdictBand, Lanes, Findings, Flags):
            screens[0].query_one(part).show(picture)

    def _arrange(self, rows: int) -> None:
        if self._shown is None:
            return
        now = self._shown.snapshot
        shared = plan(rows, len(now.cylinders), is_pointing=bool(now.findings))
        base = self.screen_stack[0]
        base.query_one(VerdictBand).styles.height = shared.verdict_rows
        base.query_one(Findings).styles.height = shared.findings_rows
        base.query_one(Flags).styles.height = shared.flags_rows
        lanes = base.query_one(Lanes)
        lanes.lane_rows = shared.lane_rows
        lanes.styles.height = shared.lanes_rows

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys of a replay exist over a recording only."""
        if action == "flex":
            return self._flex is not None
        if action == "trace":
            return self._traced is not None
        return self._player is not None if action == "player" else super().check_action(action, parameters)

    def action_player(self, control: str) -> None:
        """Hand a key on to the replay."""
        getattr(self._player, control)()

    def action_columns(self) -> None:
        """Let one column hold 1, 2, 4 or 8 turns, then as many as the width of the terminal asks for."""
        choices = (None, *TURNS_A_COLUMN)
        self._turns_per_column = choices[(choices.index(self._turns_per_column) + 1) % len(choices)]
        self.pull()

    def action_cautions(self) -> None:
        """Tell what to mind before a lead is connected."""
        self.push_screen(Cautions())

    def action_flex(self) -> None:
        """Count and ring what lets go while harness and connectors are moved."""
        if self._flex is not None:
            self.push_screen(Flex(self.picture, self._flex))

    def action_trace(self, time_s: float | None = None) -> None:
        """Look at the samples themselves, the newest or those around a moment."""
        if self._traced is not None:
            self.push_screen(Trace(self.picture, *self._traced, time_s))

    def on_pointed(self, message: Pointed) -> None:
        """Look at the samples around what was clicked."""
        self.action_trace(message.time_s)

    def action_leaf(self, pages: int) -> None:
        """Leaf through the flags."""
        self.screen_stack[0].query_one(Flags).leaf(pages)

    def action_big(self) -> None:
        """Draw what matters large."""
        self.push_screen(Big(self.picture))

    def action_mute(self) -> None:
        """Let bell and notification rest, or not."""
        self._is_muted = not self._is_muted
        self.pull()

    def action_mark(self) -> None:
        """Note that somebody felt it now."""
        self._watched.mark("key")
        self.pull()

    def action_findings(self) -> None:
        """Tell every finding in full."""
        self.push_screen(Following(lambda: whole_text(self._watched.snapshot().findings)))

    def action_help(self) -> None:
        """Explain."""
        text = help_text(has_samples=self._traced is not None, is_replay=self._player is not None)
        self.push_screen(Page(text))
