"""From an address's query to a simulated engine.

    simulated:?cylinders=6&order=1-4-2-5-3-6&rate=100000&inputs=supply,control1,acknowledgement&scenario=idle
    &fault=no-answer,cylinder=4,probability=0.02&seed=1&duration=60&pace=0&timing=at-spark

`order`, `angles` and each of `lines` are numbers joined by hyphens; `lines=each` gives every coil its own; `inputs=all`
connects every control; `rpm` holds one speed; `knots` is time:rpm:mode,...; `fault` may come several times.
"""

import dataclasses
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

from acquire.clock import SystemClock
from acquire.errors import AddressError
from drivers.simulated.coil import Coil
from drivers.simulated.faults import Fault
from drivers.simulated.model import Acknowledgement, Advance, Dwell, EngineModel
from drivers.simulated.scenario import Knot, Scenario, constant, named
from drivers.simulated.source import THREE_LEADS, SimulatedEngine

if TYPE_CHECKING:
    from drivers.address import Address

T = TypeVar("T")


def engine_from(address: "Address") -> SimulatedEngine:
    """The engine the address describes; paced by the machine's clock unless pace=0. AddressError names what is wrong."""
    query = _Query(address.query)
    if address.path:
        raise AddressError(f"{address.text}: nothing can stand before the ?; try simulated:?cylinders=4&scenario=snap")
    scenario_name = query.take("scenario", str, "idle")
    model = _model(query, scenario_name)
    scenario = _scenario(query, scenario_name)
    live = query.take("pace", _truth, True)
    settings: dict[str, Any] = {
        "faults": [_fault(text) for text in query.all("fault")],
        "inputs": _inputs(query, model),
        "sample_rate_hz": query.take("rate", float, 100_000.0),
        "seed": query.take("seed", int, 1),
        "noise_v": query.take("noise", float, 0.005),
        "bits": query.take("bits", int, 16),
        "input_range_v": query.take("range", float, None),
        "duration_s": query.take("duration", float, None),
        "block_samples": query.take("block", int, None),
        "dtype": query.take("dtype", _dtype, "int16"),
    }
    query.finish()
    return SimulatedEngine(model, scenario, clock=SystemClock() if live else None, address=address.text, **settings)


class _Query:
    """The parameters, each taken once; what is left over at the end nobody knows."""

    def __init__(self, query: Mapping[str, tuple[str, ...]]) -> None:
        self._left = dict(query)

    def take(self, key: str, convert: Callable[[str], Any], default: Any) -> Any:
        values = self._left.pop(key, ())
        if len(values) > 1:
            raise AddressError(f"simulated engine: {key} is given {len(values)} times; once will do")
        return _convert(key, values[0], convert) if values else default

    def all(self, key: str) -> tuple[str, ...]:
        return self._left.pop(key, ())

    def finish(self) -> None:
        if self._left:
            raise AddressError(f"simulated engine: {next(iter(self._left))}: no such parameter; see drivers/simulated")


def _convert(key: str, text: str, convert: Callable[[str], Any]) -> Any:
    try:
        return convert(text)
    except AddressError:
        raise
    except (ValueError, OverflowError) as error:
        raise AddressError(
            f"simulated engine: {key}={text}: not a {_WANTED.get(convert, 'value of that kind')}"
        ) from error


def _model(query: _Query, scenario_name: str) -> EngineModel:
    order = query.take("order", _whole_numbers, ())
    cylinders = query.take("cylinders", int, len(order) or 6)
    lines = query.take("lines", lambda text: _lines(text, cylinders), ())
    coil, answer = Coil(), Acknowledgement()
    return EngineModel(
        cylinders=cylinders,
        firing_order=order,
        sparks_per_cycle=query.take("sparks", int, 1),
        firing_angles_deg=query.take("angles", _numbers, None),
        strokes=query.take("strokes", int, 4),
        coil=Coil(query.take("coil_ohm", float, coil.resistance_ohm), query.take("coil_h", float, coil.inductance_h)),
        feed_resistance_ohm=query.take("feed_ohm", float, 0.08),
        acknowledgement=Acknowledgement(
            query.take("timing", str, answer.timing),
            query.take("low_a", float, answer.low_a),
            query.take("high_a", float, answer.high_a),
        ),
        lines=lines,
        advance=Advance(jitter_deg=query.take("jitter_deg", float, 1.0), step_deg=query.take("step_deg", float, 0.0)),
        dwell=Dwell(target_a=query.take("target_a", float, 6.5)),
        repeated_sparks=query.take("repeats", int, 2 if scenario_name == "cold-start-drive" else 0),
    )


def _scenario(query: _Query, name: str) -> Scenario:
    rpm = query.take("rpm", float, None)
    knots = query.take("knots", _knots, None)
    wander = query.take("wander", float, None)
    scenario = Scenario(knots) if knots is not None else constant(rpm) if rpm is not None else named(name)
    return scenario if wander is None else dataclasses.replace(scenario, wander=wander)


def _inputs(query: _Query, model: EngineModel) -> tuple[str, ...]:
    names: tuple[str, ...] = query.take("inputs", lambda text: tuple(text.split(",")), THREE_LEADS)
    controls = tuple(f"control{c}" for c in range(1, model.cylinders + 1))
    return ("supply", *controls, "acknowledgement") if names == ("all",) else names


def _fault(text: str) -> Fault:
    kind, *parts = text.split(",")
    fields: dict[str, Any] = {}
    for part in parts:
        key, _, value = part.partition("=")
        if key not in _FAULT_FIELDS:
            raise AddressError(f"simulated engine: fault={text}: {key}: one of {', '.join(_FAULT_FIELDS)}")
        fields[key] = _convert(f"fault={kind},{key}", value, _FAULT_FIELDS[key])
    return Fault(kind, **fields)


def _number_or_word(text: str) -> float | str:
    return text if text.isalpha() else float(text)


_FAULT_FIELDS: dict[str, Callable[[str], Any]] = {
    "cylinder": int,
    "probability": float,
    "start_s": float,
    "end_s": float,
    "value": _number_or_word,
    "duration_s": float,
}


def _truth(text: str) -> bool:
    if text not in ("0", "1"):
        raise ValueError(text)
    return text == "1"


def _dtype(text: str) -> str:
    if text not in ("int8", "int16", "int32"):
        raise ValueError(text)
    return text


def _whole_numbers(text: str) -> tuple[int, ...]:
    return tuple(int(part) for part in text.split("-"))


def _numbers(text: str) -> tuple[float, ...]:
    return tuple(float(part) for part in text.split("-"))


def _lines(text: str, cylinders: int) -> tuple[tuple[int, ...], ...]:
    if text == "each":
        return tuple((c,) for c in range(1, cylinders + 1))
    return tuple(_whole_numbers(part) for part in text.split(","))


def _knots(text: str) -> tuple[Knot, ...]:
    rows = [part.split(":") for part in text.split(",")]
    return tuple(Knot(float(time_s), float(rpm), *mode) for time_s, rpm, *mode in rows)


_WANTED: dict[Callable[[str], Any], str] = {
    int: "whole number",
    float: "number",
    _truth: "0 or 1",
    _dtype: "type: int8, int16 or int32",
    _whole_numbers: "list of whole numbers like 1-3-4-2",
    _numbers: "list of numbers like 0-150-240",
    _knots: "list like 0:0:stand,1:200:crank,2:800:run",
}
