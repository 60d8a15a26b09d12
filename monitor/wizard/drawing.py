"""The wiring as text: which input goes where. 80 columns at most."""

from collections.abc import Sequence

from rich.cells import cell_len

from monitor.setup import Channel, Engine, Role
from monitor.text import fit, plain
from monitor.wizard.orders import in_words

_INPUT_CELLS, _PIN_CELLS, _WIRE_CELLS = 14, 40, 16
_LINES = str.maketrans("─│┌┐└┘├┤…", "-|++++++.")


def draw(engine: Engine, wires: Sequence[Channel], encoding: str = "utf-8") -> str:
    """Two boxes with a wire for each input between them; plain letters where the encoding has no lines."""
    ends = [(one.input, _between(one), _pin(engine, one)) for one in wires]
    ends.append(("its ground", "", _ground(wires)))
    left = min(max(cell_len(plain(name)) for name, _, _ in ends), _INPUT_CELLS)
    right = min(max(cell_len(pin) for _, _, pin in ends), _PIN_CELLS)
    space = " " * _WIRE_CELLS
    rows = [f"  {fit('instrument', left + 4)}{space}the engine, firing {in_words(engine.firing_order)}"]
    rows.append(f"  ┌{'─' * (left + 2)}┐{space}┌{'─' * (right + 2)}┐")
    rows += [f"  │ {fit(name, left)} ├{between}┤ {fit(pin, right)} │" for name, between, pin in _wired(ends)]
    rows.append(f"  └{'─' * (left + 2)}┘{space}└{'─' * (right + 2)}┘")
    return in_letters_of(encoding, "\n".join(row[:80] for row in rows))


def in_letters_of(encoding: str, text: str) -> str:
    """The text, drawn with what the encoding has."""
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return text.translate(_LINES).encode("ascii", "replace").decode("ascii")
    return text


def _wired(ends: Sequence[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    return [(name, between.center(_WIRE_CELLS, "─"), pin) for name, between, pin in ends]


def _between(one: Channel) -> str:
    scale = one.scale
    if one.role is Role.CURRENT:
        return f"[{scale:.4g} A/V]"
    if scale == 1.0:
        return ""
    return f"[{scale:.4g}:1]" if scale > 1.0 else f"[x {scale:.4g}]"


def _pin(engine: Engine, one: Channel) -> str:
    coil = f"coil {one.cylinder}" if one.cylinder else "any one coil"
    match one.role:
        case Role.SUPPLY:
            return "feed pin of any one coil"
        case Role.BATTERY:
            return "battery, positive post"
        case Role.GROUND:
            return f"ground pin of {coil}"
        case Role.CONTROL:
            return f"control pin of {coil}"
        case Role.ACKNOWLEDGEMENT:
            shared = len(one.cylinders or engine.firing_order) == engine.cylinders
            return "answer pin of any one coil" if shared else f"answer pin, any of {in_words(one.cylinders or ())}"
        case Role.CURRENT:
            return f"clamp round the feed of {f'coil {one.cylinder}' if one.cylinder else 'all coils'}"
        case Role.INJECTOR:
            return f"injector {one.cylinder}, the wire that is switched"
        case Role.MARKER:
            return "push button"


def _ground(wires: Sequence[Channel]) -> str:
    """One ground lead: where ground is measured against the battery, it goes there."""
    if any(one.role is Role.GROUND for one in wires):
        return "battery, negative post (one lead only)"
    return "ground pin of that coil (one lead only)"
