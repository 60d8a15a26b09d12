"""A part of the screen drawn from the latest picture."""

from textual.content import Content
from textual.widget import Widget

from monitor.dashboard.picture import Picture


class Panel(Widget):
    """Draws `lines` of the picture it was last shown; a subclass says what they are."""

    DEFAULT_CSS = "Panel { width: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self._picture: Picture | None = None

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Lines of exactly `width` cells."""
        raise NotImplementedError

    def show(self, picture: Picture) -> None:
        """Draw this from now on."""
        self._picture = picture
        self.refresh()

    def render(self) -> Content:
        """What is on the screen."""
        if self._picture is None:
            return Content()
        return Content("\n").join(self.lines(self._picture, self.size.width)[: self.size.height])
