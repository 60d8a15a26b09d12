"""The set-up file's text, with a word on everything that somebody may want to change."""

from collections.abc import Mapping, Sequence

import tomli_w

from monitor.setup import Channel, Engine, Role

_ROLES = {
    Role.SUPPLY: "the coils' feed",
    Role.BATTERY: "the battery's positive post",
    Role.GROUND: "a coil's ground pin, against battery negative",
    Role.CONTROL: "the controller's call to one coil",
    Role.ACKNOWLEDGEMENT: "the line on which the coils answer",
    Role.CURRENT: "a clamp round the coils' feed",
    Role.INJECTOR: "one injector's switched wire",
    Role.MARKER: "a push button: each press marks the moment",
}


_ATTENUATION = "volts at the wire per volt at the input: 10 behind a 10:1 attenuator"


def setup_text(label: str, engine: Engine, wires: Sequence[Channel], labels: Mapping[str, str]) -> str:
    """A set-up file. `labels` are what the source calls its inputs, one line each, for the comments."""
    lines = ["# Which engine, and what is connected to which input. Made by coilcall setup; change what you like.", ""]
    lines += ["[vehicle]", f"{_value('label', label)}  # free text, shown with the results", ""]
    lines += _engine(engine)
    for one in wires:
        lines += _channel(one, labels.get(one.input, ""))
    return "\n".join([*lines, *_LIMITS]) + "\n"


def _engine(engine: Engine) -> list[str]:
    lines = [
        "[engine]",
        f"cylinders = {engine.cylinders}",
        f"firing_order = {list(engine.firing_order)}  # makers number cylinders differently: look it up",
        f"sparks_per_cycle = {engine.sparks_per_cycle}  # 2 = waste spark: one coil serves two cylinders",
    ]
    if engine.firing_angles_deg is not None:
        angles = [float(one) for one in engine.firing_angles_deg]
        lines.append(f"firing_angles_deg = {angles}  # crank angle of each firing, in firing order")
    if engine.strokes != 4:
        lines.append(f"strokes = {engine.strokes}")
    return lines


def _channel(one: Channel, label: str) -> list[str]:
    lines = ["", "[[channel]]", _value("input", one.input) + (f"  # {label}" if label else "")]
    lines.append(f"{_value('role', str(one.role))}  # {_ROLES[one.role]}")
    if one.cylinder is not None:
        lines.append(f"cylinder = {one.cylinder}")
    if one.cylinders is not None:
        lines.append(f"cylinders = {list(one.cylinders)}  # who answers on this line")
    unit = "amperes per volt of the clamp" if one.role is Role.CURRENT else _ATTENUATION
    return [*lines, f"{_value('scale', one.scale)}  # {unit}"]


_LIMITS = [
    "",
    "# [limits]                 # every limit has a default; take a line's # away to change it",
    "# supply_sag_v = 1.5       # how far the feed may fall while a coil charges",
    "# glitch_us = 50.0         # a pulse shorter than this is interference",
]


def _value(key: str, value: str | float) -> str:
    return tomli_w.dumps({key: value}).strip()
