"""The inputs of the simulated instrument: which signal hangs on which, and the set-up file that says so."""

import re
from dataclasses import dataclass

from acquire.errors import AddressError
from drivers.simulated.model import EngineModel

_NUMBERED = {"control", "injector"}
_SHAPES = {
    "supply": (20.0, 1.0),
    "battery": (20.0, 1.0),
    "ground": (5.0, 1.0),
    "control": (10.0, 1.0),
    "acknowledgement": (10.0, 1.0),
    "injector": (10.0, 10.0),
    "current": (2.0, 10.0),
    "marker": (10.0, 1.0),
}
"""Per role: the input's range in +- volts, and the scale from input to wire (a 10:1 attenuator; a 0.1 V/A clamp)."""


@dataclass(frozen=True, slots=True)
class Signal:
    """One connected signal; `number` is a control's or injector's cylinder, or a line's index from 0."""

    name: str
    role: str
    number: int
    range_v: float
    scale: float


def signal(name: str, model: EngineModel, range_v: float | None = None) -> Signal:
    """Find the signal called `name`, such as supply, acknowledgement2 or control1; AddressError tells which exist."""
    match = re.fullmatch(r"([a-z]+)(\d{0,3})", name)
    role, digits = match.groups() if match else ("", "")
    if role not in _SHAPES or ((role in _NUMBERED) != bool(digits) and role != "acknowledgement"):
        raise AddressError(
            f"simulated engine: inputs={name}: one of supply, battery, ground, current, marker, acknowledgement, "
            f"acknowledgement2, control1, injector1"
        )
    number = int(digits) if digits else 1
    most = len(model.lines) if role == "acknowledgement" else model.cylinders
    if not 1 <= number <= most:
        raise AddressError(f"simulated engine: inputs={name}: number 1 to {most}")
    usual_v, scale = _SHAPES[role]
    return Signal(name, role, number - (role == "acknowledgement"), range_v or usual_v, scale)


def setup_text(model: EngineModel, signals: tuple[Signal, ...]) -> str:
    """Write the set-up file (TOML) that describes this engine and these inputs."""
    lines = [
        "[vehicle]",
        'label = "simulated engine"',
        "",
        "[engine]",
        f"cylinders = {model.cylinders}",
        f"firing_order = {list(model.firing_order)}",
        f"sparks_per_cycle = {model.sparks_per_cycle}",
    ]
    if model.firing_angles_deg is not None:
        lines.append(f"firing_angles_deg = {[float(a) for a in model.firing_angles_deg]}")
    if model.strokes != 4:
        lines.append(f"strokes = {model.strokes}")
    for place, one in enumerate(signals, start=1):
        lines += ["", "[[channel]]", f'input = "in{place}"', f'role = "{one.role}"', *_whose(model, one)]
        if one.scale != 1.0:
            lines.append(f"scale = {one.scale}")
    return "\n".join(lines) + "\n"


def _whose(model: EngineModel, one: Signal) -> list[str]:
    if one.role == "acknowledgement":
        return [f"cylinders = {list(model.lines[one.number])}"]
    return [f"cylinder = {one.number}"] if one.role in _NUMBERED else []
