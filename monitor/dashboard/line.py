"""One line of the screen from its parts."""

from collections.abc import Iterable

from rich.cells import cell_len
from textual.content import Content

from monitor.text import fit

Cell = tuple[str, str]
"""Text and its style."""


def line(parts: Iterable[Cell], width: int) -> Content:
    """The parts in exactly `width` cells: the one that does not fit is cropped, and what follows it left out.

    Text from outside must have gone through `plain` or `fit` before.
    """
    shown, room = [], width
    for text, style in parts:
        piece = text if cell_len(text) <= room else fit(text, room)
        shown.append((piece, style))
        room -= cell_len(piece)
    return Content.assemble(*shown, " " * room)
