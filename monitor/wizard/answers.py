"""What people type, understood or refused with a word on what would be right."""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from monitor.setup import Role
from monitor.text import plain
from monitor.wizard.dialogue import Misunderstood
from monitor.wizard.orders import OTHER, Layout, Order

WORDS: dict[str, Role | None] = {
    "feed": Role.SUPPLY,
    "supply": Role.SUPPLY,
    "control": Role.CONTROL,
    "answers": Role.ACKNOWLEDGEMENT,
    "acknowledgement": Role.ACKNOWLEDGEMENT,
    "battery": Role.BATTERY,
    "ground": Role.GROUND,
    "current": Role.CURRENT,
    "injector": Role.INJECTOR,
    "marker": Role.MARKER,
    "none": None,
}
KNOWN = "feed, control, answers, battery, ground, current, injector, marker or none"
MOST_CYLINDERS = 16
_LONGEST_LABEL = 200


@dataclass(frozen=True, slots=True)
class Lead:
    """What an input is on: a role, None for nothing, and whose it is where that was said. `is_end`: no more inputs."""

    role: Role | None
    cylinders: tuple[int, ...] = ()
    scale: float | None = None
    is_end: bool = False


def label(text: str) -> str:
    """Any words on one line."""
    if len(text) > _LONGEST_LABEL:
        raise Misunderstood(f"{len(text)} letters; {_LONGEST_LABEL} at most")
    return text


def yes_or_no(text: str) -> bool:
    """Yes or no, by its first letter."""
    word = text.casefold()
    if word not in ("y", "yes", "n", "no"):
        raise Misunderstood(f"{_quoted(text)} is neither yes nor no; type y or n")
    return word.startswith("y")


def numbers(text: str) -> tuple[int, ...]:
    """Whole numbers joined by hyphens, commas or blanks."""
    parts = re.split(r"[\s,;-]+", text.strip().strip("[]"))
    if not all(re.fullmatch(r"[0-9]{1,3}", part) for part in parts):
        raise Misunderstood(f"{_quoted(text)} is no row of numbers; type it like 1-3-4-2")
    return tuple(map(int, parts))


def cylinder_count(text: str) -> int:
    """1 to 16."""
    found = numbers(text)
    if len(found) != 1 or not 1 <= found[0] <= MOST_CYLINDERS:
        raise Misunderstood(f"{_quoted(text)} is no number of cylinders; type 1 to {MOST_CYLINDERS}")
    return found[0]


def cylinder(text: str, cylinders: int) -> int:
    """One that the engine has."""
    found = numbers(text)
    if len(found) != 1 or not 1 <= found[0] <= cylinders:
        raise Misunderstood(f"{_quoted(text)} is no cylinder of this engine; type 1 to {cylinders}")
    return found[0]


def one_of(options: Sequence[Layout]) -> Callable[[str], Layout]:
    """A layout by its name or its number in the list."""

    def understand(text: str) -> Layout:
        word = text.casefold()
        named = [one for one in options if one.name.casefold() == word]
        if named:
            return named[0]
        if re.fullmatch(r"[0-9]{1,2}", word) and 1 <= int(word) <= len(options):
            return options[int(word) - 1]
        raise Misunderstood(
            f"{_quoted(text)} is not in the list; type a number from 1 to {len(options)}, or {OTHER.name}"
        )

    return understand


def firing_order(cylinders: int, listed: Sequence[Order] = ()) -> Callable[[str], Order]:
    """Every cylinder once; or the number of one that is listed."""

    def understand(text: str) -> Order:
        run_together = re.fullmatch(r"[0-9]+", text) and len(text) == cylinders and cylinders < 10
        order = tuple(map(int, text)) if run_together else numbers(text)
        if len(order) == 1 and cylinders > 1 and 1 <= order[0] <= len(listed):
            return listed[order[0] - 1]
        if sorted(order) != list(range(1, cylinders + 1)):
            right = "-".join(map(str, range(1, cylinders + 1)))
            raise Misunderstood(f"{_quoted(text)} must name each of {right} once, in the order in which they fire")
        return order

    return understand


def angles(text: str) -> tuple[float, ...]:
    """Degrees of crank joined by hyphens, commas or blanks."""
    parts = re.split(r"[\s,;-]+", text.strip())
    try:
        return tuple(float(part) for part in parts)
    except ValueError:
        raise Misunderstood(f"{_quoted(text)} is no row of angles; type it like 0-150-240-390-480-630") from None


def scale(text: str) -> float:
    """Volts at the wire per volt at the input: 10, x10 or 10:1."""
    match = re.fullmatch(r"x?(-?[0-9]+(?:\.[0-9]+)?)(?::1)?", text.strip().casefold().replace(",", "."))
    value = float(match[1]) if match else math.nan
    if not (1e-3 <= abs(value) <= 1e4):
        raise Misunderstood(f"{_quoted(text)} is no attenuation; type 1 for none, 10 for 10:1, or as 1.68")
    return value


def lead(text: str) -> Lead:
    """A role, by its word or the beginning of it, and cylinders where they follow: feed, control 1, answers 1-4-6-7."""
    word, _, rest = text.strip().casefold().replace(":", " ").partition(" ")
    fits = {role for known, role in WORDS.items() if word and known.startswith(word)}
    if word == "-":
        fits = {None}
    if len(fits) != 1:
        raise Misunderstood(f"{_quoted(text)} is no wire; type {KNOWN}")
    (role,) = fits
    return Lead(role, numbers(rest) if rest.strip() else ())


def wire(text: str) -> tuple[str, Lead]:
    """`INPUT=WIRE[:CYLINDERS][:xSCALE]`, as the option takes it."""
    name, equals, meaning = text.rpartition("=")
    if not (equals and name.strip()):
        raise Misunderstood(f"{_quoted(text)} is not like in2=control:1")
    word, *rest = meaning.split(":", 1)
    parts = rest[0].split(":") if rest else []
    factors = [part for part in parts if part.startswith("x")]
    whose = [part for part in parts if not part.startswith("x")]
    if len(factors) > 1 or len(whose) > 1:
        raise Misunderstood(f"{_quoted(text)} says something twice; write it like in2=control:1:x10")
    found = lead(" ".join([word, *whose]))
    return name.strip(), Lead(found.role, found.cylinders, scale(factors[0]) if factors else None)


def wires(texts: Iterable[str]) -> dict[str, Lead]:
    """What each input is, each said once."""
    found: dict[str, Lead] = {}
    for text in texts:
        name, meant = wire(text)
        if name in found:
            raise Misunderstood(f"{_quoted(text)} says anew what {_quoted(name)} is; an input has one wire")
        found[name] = meant
    return found


def _quoted(text: str) -> str:
    shown = plain(text)
    return f'"{shown if len(shown) <= 40 else shown[:37] + "..."}"'
