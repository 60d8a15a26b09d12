"""Which stretch is looked at, and where the two cursors stand, in whole samples."""

from dataclasses import dataclass

_PANS = 8
"""Key presses that move by one screenful."""


@dataclass(slots=True)
class View:
    """Samples `start` … `start + samples - 1`. While it follows, its end is the newest sample.

    `cursor` is moved by keys and stays in view; `other` (None until placed) stays at its sample.
    """

    start: int
    samples: int
    is_following: bool = True
    cursor: int = 0
    other: int | None = None

    @classmethod
    def of(cls, newest: int, samples: int) -> "View":
        """Follow the newest, the cursor in the middle."""
        return cls(newest - samples, samples, cursor=newest - samples // 2)

    @property
    def end(self) -> int:
        """Index after the last sample in view."""
        return self.start + self.samples

    def follow(self, newest: int) -> None:
        """Go along with the newest sample, if it follows; the cursor keeps its place on the screen."""
        if self.is_following:
            self._move(newest - self.end)

    def toggle_following(self) -> None:
        """Hold, or follow again."""
        self.is_following = not self.is_following

    def pan(self, steps: int, oldest: int, newest: int) -> None:
        """Hold, and move by eighths of a screenful between the oldest and the newest sample."""
        self.is_following = False
        start = self.start + steps * max(self.samples // _PANS, 1)
        self.start = max(min(start, newest - self.samples), min(oldest, newest - self.samples))
        self._keep_in_view()

    def zoom(self, factor: float, least: int, most: int) -> None:
        """Show `factor` times as many samples, from `least` to `most`; the cursor, or the newest, stays in place."""
        samples = max(min(round(self.samples * factor), most), least)
        fixed = self.end if self.is_following else self.cursor
        start = fixed - round((fixed - self.start) * samples / self.samples)
        share = (self.cursor - self.start) / self.samples
        self.start, self.samples = start, samples
        if self.is_following:
            self.cursor = start + round(share * samples)
        self._keep_in_view()

    def step(self, columns: int, dots: int) -> None:
        """Move the cursor by columns of the drawing, `dots` in a screenful; at the edge the view moves along."""
        self.point(self.cursor + columns * max(self.samples // dots, 1))

    def point(self, index: int) -> None:
        """Hold, and put the cursor on a sample; the view moves along where that is out of sight."""
        self.is_following = False
        self.cursor = index
        if not self.start <= index < self.end:
            self.start += index - (self.start if index < self.start else self.end - 1)

    def go_to(self, index: int) -> None:
        """Hold, and bring a sample into the middle, the cursor on it."""
        self.is_following = False
        self.start = index - self.samples // 2
        self.cursor = index

    def place(self) -> None:
        """Leave the other cursor where the cursor is."""
        self.other = self.cursor

    def swap(self) -> None:
        """Change the two cursors over, and look at the one that is moved now."""
        if self.other is not None:
            here, self.other = self.other, self.cursor
            self.point(here)

    def _move(self, samples: int) -> None:
        self.start += samples
        self.cursor += samples

    def _keep_in_view(self) -> None:
        self.cursor = max(min(self.cursor, self.end - 1), self.start)
