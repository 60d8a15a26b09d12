"""A screen without colours: what is filled with one is shown reversed instead."""

import os
from collections.abc import Iterable

from rich.segment import Segment
from rich.style import Style

_REVERSED = Style(reverse=True)


def is_monochrome() -> bool:
    """Whether colours are not wanted (NO_COLOR is set, see no-color.org) or the terminal has none."""
    return bool(os.environ.get("NO_COLOR")) or not has_colours()


def has_colours() -> bool:
    """What terminfo says of the terminal; one that it does not know, or a browser, is taken to have them."""
    if "TEXTUAL_COLOR_SYSTEM" in os.environ:  # somebody knows already: the server of a browser does
        return True
    try:
        import curses
    except ImportError:
        return True
    try:
        curses.setupterm(os.environ.get("TERM"), 2)
    except curses.error:
        return True
    return curses.tigetnum("colors") > 0


def reversed_where_filled(segments: Iterable[Segment], ground: Style) -> list[Segment]:
    """The same with what stands on another ground than `ground` reversed, for colours will be taken out."""
    return [
        Segment(text, style + _REVERSED if style and style.bgcolor != ground.bgcolor else style, control)
        for text, style, control in segments
    ]
