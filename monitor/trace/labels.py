"""Words along a line, each at its column, as far as there is room."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Label:
    """`text` belongs at `column`, or `short` where that is too long; the lower `rank` is written first."""

    column: int
    text: str
    rank: int = 0
    style: str = ""
    short: str = ""


def placed(labels: Iterable[Label], width: int) -> list[Label]:
    """Those that fit on a line of `width` cells with a cell between two; at the right edge pushed inwards."""
    taken = bytearray(width)
    kept = []
    for label in sorted(labels, key=lambda one: (one.rank, one.column)):
        for text in filter(None, (label.text, label.short)):
            start = min(label.column, width - len(text))
            end = start + len(text)
            if start >= 0 and not any(taken[max(start - 1, 0) : end + 1]):
                taken[start:end] = b"\1" * len(text)
                kept.append(Label(start, text, label.rank, label.style))
                break
    return sorted(kept, key=lambda one: one.column)


def cells(labels: Iterable[Label], width: int, style: str) -> list[tuple[str, str]]:
    """(text, style) parts of a whole line of `width` cells that holds what could be placed."""
    parts: list[tuple[str, str]] = []
    at = 0
    for label in placed(labels, width):
        parts += [(" " * (label.column - at), style), (label.text, label.style or style)]
        at = label.column + len(label.text)
    return [*parts, (" " * (width - at), style)]
