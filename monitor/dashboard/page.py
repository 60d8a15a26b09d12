"""Text that lies over the lanes until a key closes it; the analysis goes on underneath."""

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen
from textual.widgets import Static

from monitor.dashboard.palette import PAGE
from monitor.dashboard.room import has_room


class Page(ModalScreen[None]):
    """One page that scrolls where the terminal is small; what stands in it stands as text."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q,question_mark,d,space", "dismiss", "back", show=True)]

    CSS = f"""
    Page {{ align: center middle; }}
    Page VerticalScroll {{ width: 90; max-width: 100%; height: auto; max-height: 100%; padding: 0 1; }}
    Page VerticalScroll {{ background: {PAGE}; }}
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self._text = text

    def compose(self) -> ComposeResult:
        """The text."""
        with VerticalScroll():
            yield Static(self._text, markup=False)


class Following(Page):
    """A page that goes on telling: what it counts is what the lanes beneath it count."""

    def __init__(self, tell: Callable[[], str]) -> None:
        super().__init__(tell())
        self._tell = tell

    def on_mount(self) -> None:
        """Begin to ask."""
        self.set_interval(1.0, self.follow)

    def follow(self) -> None:
        """Tell the state of now, if the terminal takes it."""
        if has_room():
            self.query_one(Static).update(self._tell())
