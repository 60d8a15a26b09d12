"""Foreign text made safe, and figures made short."""

import unicodedata
from itertools import groupby
from textwrap import wrap

from rich.cells import cell_len, set_cell_size

_LONGEST = 2000
"""Characters of foreign text looked at; no screen is wider."""


def plain(text: str) -> str:
    """Foreign text as visible characters of one line: nothing in it moves a cursor, joins, reorders or hides.

    C0 controls become their Unicode control pictures (U+2400 block), every other character that is not printed on
    its own becomes U+FFFD.
    """
    return "".join(_visible(character) for character in text[:_LONGEST])


def _visible(character: str) -> str:
    if character == " ":
        return character
    if character < " ":
        return chr(0x2400 + ord(character))
    return "\ufffd" if unicodedata.category(character)[0] in "CMZ" else character


def fit(text: str, width: int) -> str:
    """Foreign text in exactly `width` terminal cells: cropped with an ellipsis, or padded on the right."""
    shown = plain(text)
    if cell_len(shown) <= width:
        return set_cell_size(shown, width)
    return set_cell_size(shown, width - 1) + "…" if width > 0 else ""


def number(value: float | None, width: int, decimals: int = 0) -> str:
    """A figure, right-aligned; a dash where it is unknown, thousands as k where it would not fit."""
    if value is None:
        return "-".rjust(width)
    shown = f"{value:.{decimals}f}"
    return (shown if len(shown) < width else f"{value / 1000:.0f}k").rjust(width)


def span(seconds: float) -> str:
    """How long, in at most 6 characters: `2.1 s`, `42 s`, `12 min`, `3 h`."""
    if seconds < 10:
        return f"{max(seconds, 0.0):.1f} s"
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 5970 else f"{seconds / 3600:.0f} h"


def broken(line: str, columns: int, hanging: int) -> list[str]:
    """A line in lines of at most `columns`, broken between words; all but the first stand in by `hanging`."""
    width = max(columns, 2 * hanging)
    return wrap(line, width, subsequent_indent=" " * hanging, break_long_words=False, break_on_hyphens=False) or [""]


def counted(count: int, word: str) -> str:
    """So many of something: `1 turn`, `2 turns`."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def elapsed(seconds: float) -> str:
    """A moment since the first sample: `h:mm:ss`."""
    whole = int(seconds)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"


def rate(hertz: float | None) -> str:
    """A sample rate with a prefix: `50 kS/s`."""
    if hertz is None:
        return "rate unknown"
    for size, prefix in ((1e6, "M"), (1e3, "k")):
        if hertz >= size:
            return f"{hertz / size:.6g} {prefix}S/s"
    return f"{hertz:.6g} S/s"


def share(coverage: float) -> str:
    """A share in per cent, rounded down: what is not whole is never shown as 100 %."""
    return "100 %" if coverage >= 1 else f"{int(coverage * 10_000) / 100:.2f} %"


def spans(cells: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """(text, style) cells with neighbours of one style joined."""
    return [("".join(text for text, _ in run), style) for style, run in groupby(cells, key=lambda cell: cell[1])]
