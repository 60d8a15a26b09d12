"""Cylinder numbers three rows tall, to be read from afar."""

from textual.renderables.digits import DIGITS, DIGITS3X3_BOLD


def tall_digits(value: int, row: int) -> str:
    """One of the three rows of a number drawn three cells wide and three rows tall a digit."""
    return "".join(DIGITS3X3_BOLD[3 * DIGITS.index(digit) + row].ljust(3) for digit in str(value))
