"""What the glyphs and keys mean, what an answer proves, and what to mind."""

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from monitor.cautions import CAUTIONS

HELP_TEXT = f"""\
LANES  one a cylinder, in firing order; one column a turn, newest right
  ·    acknowledged: called (or its call is not connected) and answered
  X    unacknowledged: called, no answer; or no answer in its turn
  O    uncommanded: its control is connected, and it was not called
  ?    unobserved: samples were lost, or two readings were equally good
  !    beside a cylinder: it has missed at least once since the start
  last how long ago it last missed

FLAGS  X fault   ! warning   i information; newest first

KEYS   q quit   ? this page   c turns in one column: 1, 2, 4, 8
       x flex test: move the harness, listen   t trace: the samples
       d where to look, in full
       in a replay: space pause, n a little further, f faster, s slower

An acknowledgement proves that primary current was switched.
It does not prove a spark at the plug, still less combustion.

{CAUTIONS}"""


class Help(ModalScreen[None]):
    """Lies over the lanes until a key closes it; the analysis goes on underneath."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q,question_mark,space", "dismiss", "back", show=True)]

    CSS = """
    Help { align: center middle; }
    Help VerticalScroll { width: 80; max-width: 100%; height: auto; max-height: 100%; padding: 0 1; }
    Help VerticalScroll { background: #1C1C1C; }
    """

    def compose(self) -> ComposeResult:
        """One page that scrolls where the terminal is small."""
        with VerticalScroll():
            yield Static(HELP_TEXT, markup=False)
