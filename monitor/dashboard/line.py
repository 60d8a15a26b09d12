"""One line of the screen from its parts."""

from collections.abc import Iterable

from rich.cells import cell_len
from textual.content import Content

from monitor.text import fit


def line(parts: Iterable[tuple[str, str]], width: int) -> Content:
    """(text, style) in exactly `width` cells: the part that does not fit is cropped, and what follows it left out.

    Text from outside must have gone through `plain` or `fit` before.
    """
    shown, room = [], width
    for text, style in parts:
        piece = text if cell_len(text) <= room else fit(text, room)
        shown.append((piece, style))
        room -= cell_len(piece)
    return Content.assemble(*shown, " " * room)
