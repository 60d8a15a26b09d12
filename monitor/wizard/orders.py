"""Firing orders met often, by layout: offered, never assumed, as makers number cylinders differently."""

from dataclasses import dataclass

Order = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """How the cylinders lie, how many, and the orders met most."""

    name: str
    cylinders: int
    orders: tuple[Order, ...]


# From public tables of engine controls.
LAYOUTS = (
    Layout("3 in line", 3, ((1, 2, 3),)),
    Layout("4 in line", 4, ((1, 3, 4, 2),)),
    Layout("5 in line", 5, ((1, 2, 4, 5, 3),)),
    Layout("6 in line", 6, ((1, 5, 3, 6, 2, 4),)),
    Layout("flat 4", 4, ((1, 3, 2, 4),)),
    Layout("V6", 6, ((1, 2, 3, 4, 5, 6), (1, 4, 2, 5, 3, 6), (1, 6, 5, 4, 3, 2))),
    Layout("V8", 8, ((1, 8, 4, 3, 6, 5, 7, 2), (1, 8, 7, 2, 6, 5, 4, 3), (1, 5, 4, 2, 6, 3, 7, 8))),
    Layout("V10", 10, ((1, 10, 9, 4, 3, 6, 5, 8, 7, 2),)),
    Layout("V12", 12, ((1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10),)),
)
OTHER = Layout("other", 0, ())


def of_cylinders(cylinders: int | None) -> Layout:
    """The layout to offer first for so many; four in line where nothing is known."""
    return next((one for one in LAYOUTS if one.cylinders == (cylinders or 4)), OTHER)


def in_words(order: Order) -> str:
    """1-3-4-2."""
    return "-".join(map(str, order))
