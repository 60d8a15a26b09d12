"""The order in which the controls were seen to fire, against the firing order."""

from collections.abc import Mapping, Sequence

from monitor.proposal.propose import Proposal
from monitor.setup import Channel, Engine, Role
from monitor.wizard.orders import in_words

Firing = Sequence[tuple[str, float]]
"""Inputs in the order in which they fire, with their place (0 to below 1) in the first one's period."""


def cylinder_by_phase(firing: Firing, engine: Engine, known: Mapping[str, int], name: str) -> int | None:
    """Whose control this input must be, by when it fires after one whose cylinder is known; None where that is open."""
    parts = dict(firing)
    base = next((one for one in known if one in parts), None)
    if base is None or name not in parts:
        return None
    places = _places(engine)
    at = (places[_first_of_coil(engine, known[base])] + parts[name] - parts[base]) % 1.0
    nearest = min(places, key=lambda one: _apart(places[one], at))
    return nearest if _apart(places[nearest], at) < 0.25 / len(places) else None


def doubts(proposal: Proposal, engine: Engine, wires: Sequence[Channel]) -> tuple[str, ...]:
    """Where the samples contradict what was said: the order of the calls, and how many coils answer."""
    return (*_order_doubt(proposal.firing, engine, wires), *_coils_doubt(proposal.coils, engine, wires))


def _order_doubt(firing: Firing, engine: Engine, wires: Sequence[Channel]) -> list[str]:
    whose = {one.input: one.cylinder for one in wires if one.role is Role.CONTROL}
    seen = [_first_of_coil(engine, cylinder) for name, _ in firing if (cylinder := whose.get(name)) is not None]
    said = [one for one in _places(engine) if one in seen]
    if len(seen) < 3 or len(set(seen)) != len(seen):
        return []  # two come in turn whatever the order
    turned = said[said.index(seen[0]) :] + said[: said.index(seen[0])]
    if seen == turned:
        return []
    return [
        f"The calls come as {in_words(tuple(seen))}, by your order it would be {in_words(tuple(turned))}: look at the "
        "order, and at which lead is on which coil."
    ]


def _coils_doubt(coils: int | None, engine: Engine, wires: Sequence[Channel]) -> list[str]:
    lines = [one for one in wires if one.role is Role.ACKNOWLEDGEMENT]
    answering = {_first_of_coil(engine, one) for line in lines for one in line.cylinders or engine.firing_order}
    if coils is None or not lines or len(answering) == coils:
        return []
    return [
        f"There are {coils} answers for each call of one coil, and {len(answering)} coils on the answer lines by what "
        "you said: look at cylinders, waste spark and lines."
    ]


def _places(engine: Engine) -> dict[int, float]:
    """When each coil fires, as a part of its period, by the first of its cylinders in the order."""
    coils = engine.cylinders // engine.sparks_per_cycle
    period_deg = engine.cycle_deg / engine.sparks_per_cycle
    return {
        cylinder: angle_deg / period_deg
        for cylinder, angle_deg in zip(engine.firing_order[:coils], engine.turn_angles_deg[:coils], strict=True)
    }


def _first_of_coil(engine: Engine, cylinder: int) -> int:
    coils = engine.cylinders // engine.sparks_per_cycle
    return engine.firing_order[engine.firing_order.index(cylinder) % coils]


def _apart(a: float, b: float) -> float:
    return abs((a - b + 0.5) % 1.0 - 0.5)
