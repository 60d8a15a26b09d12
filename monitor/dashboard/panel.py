"""A part of the screen drawn from the latest picture, line by line, and only the lines that changed."""

from textual.content import Content
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from monitor.dashboard.monochrome import reversed_where_filled
from monitor.dashboard.picture import Picture


class Panel(Widget):
    """Draws `lines` of the picture it was last shown; a subclass says what they are."""

    DEFAULT_CSS = "Panel { width: 100%; }"

    def __init__(self) -> None:
        super().__init__()
        self.picture: Picture | None = None
        self._lines: list[Content] = []

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Lines of exactly `width` cells."""
        raise NotImplementedError

    def show(self, picture: Picture) -> None:
        """Draw this from now on."""
        self.picture = picture
        before, self._lines = self._lines, self.lines(picture, self.size.width)
        changed = [
            Region(0, row, self.size.width, 1)
            for row, line in enumerate(self._lines[: self.size.height])
            if row >= len(before) or not line.is_same(before[row])
        ]
        if changed:
            self.refresh(*changed)

    def redraw(self) -> None:
        """Draw the same picture anew."""
        if self.picture is not None:
            self._lines = self.lines(self.picture, self.size.width)
            self.refresh()

    def on_resize(self) -> None:
        """Draw the same picture in the new size."""
        self.redraw()

    def render_line(self, y: int) -> Strip:
        """What stands in one line of the screen."""
        if y >= len(self._lines):
            return Strip.blank(self.size.width, self.rich_style)
        segments = self._lines[y].render_segments(self.visual_style)
        if self.app.native_ansi_color:
            segments = reversed_where_filled(segments, self.rich_style)
        return Strip(segments, self.size.width)
