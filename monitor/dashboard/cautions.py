"""The cautions before the first connection: they lie over a watch that goes on, and any key puts them away."""

from textual.app import ComposeResult
from textual.events import Click, Key
from textual.screen import ModalScreen
from textual.widgets import Static

from monitor.cautions import CAUTIONS
from monitor.cautions_read import note_read
from monitor.dashboard.palette import PAGE

_TEXT = f"{CAUTIONS}\n\nAny key puts this away, once and for all; ? tells it again."


class Cautions(ModalScreen[None]):
    """Remembered as read when they are put away."""

    CSS = f"""
    Cautions {{ align: center middle; }}
    Cautions Static {{ width: 80; max-width: 100%; height: auto; padding: 1 2; background: {PAGE}; }}
    """

    def compose(self) -> ComposeResult:
        """The text."""
        yield Static(_TEXT, markup=False)

    def on_key(self, event: Key) -> None:
        """Put them away; Ctrl-C ends the watch as everywhere."""
        event.stop()
        if event.key == "ctrl+c":
            self.app.exit()
        else:
            self._put_away()

    def on_click(self, _: Click) -> None:
        """Put them away."""
        self._put_away()

    def _put_away(self) -> None:
        self.app.run_worker(note_read, thread=True)
        self.dismiss()
