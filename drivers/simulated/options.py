"""From an address's query to a simulated engine.

    simulated:?cylinders=6&order=1-4-2-5-3-6&rate=100000&inputs=supply,control1,acknowledgement&scenario=idle
    &fault=no-answer,cylinder=4,probability=0.02&seed=1&duration=60&pace=0&timing=at-spark

`order`, `angles` and each of `lines` are numbers joined by hyphens; `lines=each` gives every coil its own line;
`inputs=all` connects every control and line; `rpm` holds one speed; `knots` is time:rpm:mode,... and `battery`
time:volts,...; `marks` are times joined by hyphens; `fault` may come more than once.
"""

import dataclasses
import math
from collections.abc import Callable
from typing import Any, TypeVar

from acquire.clock import SystemClock
from drivers.address import Address
from drivers.simulated.coil import Coil
from drivers.simulated.faults import KINDS, Fault
from drivers.simulated.model import AT_SPARK, DURING_CHARGE, Acknowledgement, Advance, Dwell, EngineModel
from drivers.simulated.scenario import NAMES, Knot, Scenario, constant, named
from drivers.simulated.source import THREE_LEADS, SimulatedEngine

Number = TypeVar("Number", int, float)

_KEYS = (
    "cylinders", "order", "sparks", "angles", "strokes", "coil_ohm", "coil_h", "feed_ohm", "timing", "low_a", "high_a",
    "target_a", "lines", "jitter_deg", "step_deg", "repeats", "scenario", "rpm", "knots", "wander", "battery", "marks",
    "fault", "inputs", "rate", "seed", "noise", "hum", "bits", "range", "duration", "block", "dtype", "pace",
)  # fmt: skip


def engine_from(address: Address) -> SimulatedEngine:
    """Make the engine, paced by the machine's clock unless pace=0. AddressError names the key and what is right."""
    address.allow(*_KEYS)
    if address.path:
        raise address.error(address.path, "nothing can stand before the ?; try simulated:?cylinders=4&scenario=snap")
    model = _model(address)
    return SimulatedEngine(
        model,
        _scenario(address),
        tuple(_fault(address, text) for text in address.texts("fault")),
        inputs=_inputs(address, model),
        sample_rate_hz=address.number("rate", 100_000.0, 1e3, 1e8),
        seed=address.whole("seed", 1, 0, 2**53),
        noise_v=address.number("noise", 0.005, 0.0, 10.0),
        hum_v=address.number("hum", 0.0, 0.0, 10.0),
        dtype=address.choice("dtype", "int16", ("int8", "int16", "int32")),
        bits=address.whole("bits", 8 if address.string("dtype", "") == "int8" else 16, 2, 24),
        input_range_v=address.number("range", None, 1e-3, 1e4),
        duration_s=address.number("duration", None, 1e-3, 1e7),
        clock=SystemClock() if address.choice("pace", "1", ("0", "1")) == "1" else None,
        block_samples=address.whole("block", None, 1, 10**9),
        address=address.text,
    )


def _model(address: Address) -> EngineModel:
    order = _list(address, "order", int)
    cylinders = address.whole("cylinders", len(order) or 6, 1, 24)
    drive = address.string("scenario", "idle") == "cold-start-drive"
    return EngineModel(
        cylinders=cylinders,
        firing_order=order,
        sparks_per_cycle=address.whole("sparks", 1, 1, 2),
        firing_angles_deg=_list(address, "angles", float) or None,
        strokes=address.whole("strokes", 4, 2, 4),
        coil=Coil(address.number("coil_ohm", 0.5, 1e-3, 100.0), address.number("coil_h", 3.75e-3, 1e-5, 1.0)),
        feed_resistance_ohm=address.number("feed_ohm", 0.08, 0.0, 10.0),
        acknowledgement=Acknowledgement(
            address.choice("timing", DURING_CHARGE, (DURING_CHARGE, AT_SPARK)),
            address.number("low_a", 2.0, 0.01, 100.0),
            address.number("high_a", 4.0, 0.01, 100.0),
        ),
        lines=_lines(address, cylinders),
        advance=Advance(
            jitter_deg=address.number("jitter_deg", 1.0, 0.0, 5.0), step_deg=address.number("step_deg", 0.0, 0.0, 20.0)
        ),
        dwell=Dwell(address.number("target_a", 6.5, 0.1, 100.0)),
        repeated_sparks=address.whole("repeats", 2 if drive else 0, 0, 5),
    )


def _scenario(address: Address) -> Scenario:
    rpm, knots = address.number("rpm", None, 0.0, 20000.0), address.string("knots", None)
    if knots is not None:
        scenario = _knots(address, knots)
    elif rpm is not None:
        scenario = constant(rpm)
    else:
        scenario = named(address.choice("scenario", "idle", NAMES))
    battery = address.string("battery", None)
    return dataclasses.replace(
        scenario,
        wander=address.number("wander", scenario.wander, 0.0, 0.2),
        battery_v=None if battery is None else _battery(address, battery),
        marks_s=_list(address, "marks", float),
    )


def _inputs(address: Address, model: EngineModel) -> tuple[str, ...]:
    text = address.string("inputs", ",".join(THREE_LEADS))
    if text != "all":
        return tuple(text.split(","))
    lines = [f"acknowledgement{i}" if i > 1 else "acknowledgement" for i in range(1, len(model.lines) + 1)]
    return ("supply", *(f"control{c}" for c in sorted(set(map(model.coil_of, model.firing_order)))), *lines)


def _lines(address: Address, cylinders: int) -> tuple[tuple[int, ...], ...]:
    text = address.string("lines", "")
    if text == "each":
        return tuple((c,) for c in range(1, cylinders + 1))
    return tuple(_numbers(address, "lines", part, int) for part in text.split(",") if text)


def _list(address: Address, key: str, convert: type[Number]) -> tuple[Number, ...]:
    text = address.string(key, None)
    return _numbers(address, key, text, convert) if text is not None else ()


def _numbers(address: Address, key: str, text: str, convert: type[Number]) -> tuple[Number, ...]:
    try:
        numbers = tuple(convert(part) for part in text.split("-"))
    except ValueError:
        raise address.error(key, f'"{text}" is no list of numbers joined by hyphens, like 1-3-4-2') from None
    if not all(map(math.isfinite, numbers)):
        raise address.error(key, f'"{text}" holds a number that is not finite')
    return numbers


def _knots(address: Address, text: str) -> Scenario:
    try:
        rows = [part.split(":") for part in text.split(",")]
        knots = tuple(Knot(float(time_s), float(rpm), *mode[:1]) for time_s, rpm, *mode in rows)
    except ValueError:
        raise address.error("knots", f'"{text}" is no list of time:rpm:mode, like 0:0:stand,1:200:crank') from None
    return Scenario(knots)


def _battery(address: Address, text: str) -> tuple[tuple[float, float], ...]:
    try:
        return tuple((float(time_s), float(volts)) for time_s, volts in (part.split(":") for part in text.split(",")))
    except ValueError:
        raise address.error("battery", f'"{text}" is no list of time:volts, like 0:12,1:12,1.01:4.5') from None


def _fault(address: Address, text: str) -> Fault:
    kind, *parts = text.split(",")
    fields: dict[str, Any] = {}
    for part in parts:
        key, _, value = part.partition("=")
        if key not in _FAULT_FIELDS:
            raise address.error("fault", f'"{part}" is not one of {", ".join(_FAULT_FIELDS)} with = and a value')
        try:
            fields[key] = _FAULT_FIELDS[key](value)
        except ValueError:
            raise address.error("fault", f'{key}: "{value}" cannot be read') from None
    if kind not in KINDS:
        raise address.error("fault", f'"{kind}" is none of {", ".join(KINDS)}')
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
