"""Which engine it is."""

from collections.abc import Iterator
from functools import partial

from pydantic import ValidationError

from monitor.setup import Engine, explain
from monitor.wizard import answers as typed
from monitor.wizard.dialogue import Answers, Misunderstood, Question, wrapped
from monitor.wizard.orders import LAYOUTS, OTHER, Layout, in_words, of_cylinders

_ORDER = "--order 1-3-4-2"
LOOK_IT_UP = "Makers number cylinders differently, also for engines that look alike: look the order up."


def engine_questions(given: Answers, coils: int | None) -> Iterator[Question]:
    """Label, layout, order, and what is unusual; `coils` is how many seem to answer."""
    yield Question(
        "label", "What do you call this vehicle?", "", typed.label, "Free text, shown with the results; may stay empty."
    )
    yield _layout(of_cylinders(coils))
    if given["layout"] is OTHER:
        yield Question(
            "cylinders", "How many cylinders?", str(coils or 4), typed.cylinder_count, "1 to 16.", "", _ORDER
        )
    yield _order(given["layout"], cylinders_of(given))
    yield Question(
        "unusual",
        "Two-stroke, or firing unevenly spaced?",
        "no",
        typed.yes_or_no,
        "Nearly all engines are four-strokes that fire at even distances of crank angle. yes asks for both.",
    )
    if given["unusual"]:
        yield Question(
            "strokes", "Two or four strokes?", "4", _strokes, "2 or 4: a cycle is 360 or 720 degrees of crank."
        )
        yield _angles(given)
    if cylinders_of(given) % 2 == 0 and given.get("strokes", 4) == 4:
        yield Question(
            "waste_spark",
            "Does one coil serve two cylinders (waste spark)?",
            "no",
            partial(_checked_sharing, given),
            "With waste spark there are half as many coils as cylinders, and each fires once a revolution.",
        )


def cylinders_of(given: Answers) -> int:
    """How many the layout has, or was said."""
    return int(given["layout"].cylinders or given["cylinders"])


def engine_of(given: Answers) -> Engine:
    """The engine that was described. Raises pydantic's ValidationError where it cannot be."""
    return Engine(
        cylinders=cylinders_of(given),
        firing_order=given["order"],
        sparks_per_cycle=2 if given.get("waste_spark") else 1,
        firing_angles_deg=given.get("angles") or None,
        strokes=given.get("strokes", 4),
    )


def _layout(offered: Layout) -> Question:
    options = (*LAYOUTS, OTHER)
    listed = "\n".join(f"  {n:2} {one.name}" for n, one in enumerate(options, 1))
    text = "How do the cylinders lie?"
    return Question(
        "layout", text, offered.name, typed.one_of(options),
        "A number or a name of the list; it decides which orders are offered next.", f"\n{listed}", _ORDER,
    )  # fmt: skip


def _order(layout: Layout, count: int) -> Question:
    listed = layout.orders or (tuple(range(1, count + 1)),)
    shown = "\n".join(f"  {n:2} {in_words(one)}" for n, one in enumerate(listed, 1))
    return Question(
        "order",
        "In which order do they fire?",
        in_words(listed[0]),
        typed.firing_order(count, listed),
        f"A number of the list, or your own order like {in_words(listed[0])}. {LOOK_IT_UP}",
        f"\n{wrapped(LOOK_IT_UP, '')}\nMet often:\n{shown}",
        _ORDER,
    )


def _angles(given: Answers) -> Question:
    count, cycle_deg = cylinders_of(given), 180 * given["strokes"]
    even = "-".join(f"{cycle_deg * n / count:g}" for n in range(count))
    return Question(
        "angles", "Crank angle of each firing, in firing order?", even, partial(_checked_angles, given),
        f"Degrees from the first firing, rising, below {cycle_deg}. {even} is even.",
    )  # fmt: skip


def _checked_angles(given: Answers, text: str) -> tuple[float, ...]:
    found = typed.angles(text)
    _refuse_wrong({**given, "angles": found})
    return found


def _checked_sharing(given: Answers, text: str) -> bool:
    shares = typed.yes_or_no(text)
    if shares:
        _refuse_wrong({**given, "waste_spark": True})
    return shares


def _strokes(text: str) -> int:
    if text not in ("2", "4"):
        raise Misunderstood(f'"{text[:20]}" is neither; type 2 or 4')
    return int(text)


def _refuse_wrong(given: Answers) -> None:
    try:
        engine_of(given)
    except ValidationError as error:
        raise Misunderstood(explain(error)) from None
