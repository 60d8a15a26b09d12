"""From an address to an instrument.

    scpi:TCPIP0::192.168.1.20::5025::SOCKET?dialect=standard&inputs=1,2,3&rate=50000&range_v=20&mode=frames&frame_s=0.5
    &patience_s=2&visa=@py

What stands before the ? is a VISA resource name. `dialect` is one of ours or a TOML file; `range_v` is the largest
voltage either way, one for all inputs or one for each; `mode` is stream or frames, the better one that the dialect has
unless said; `frame_s` is how long a frame shall be; `patience_s` how long an answer may take; `visa` another library.
"""

from dataclasses import dataclass

from drivers.address import Address
from drivers.scpi.dialect import STANDARD, Dialect, load_dialect
from drivers.scpi.source import ScpiSource

_KEYS = ("dialect", "inputs", "rate", "range_v", "mode", "frame_s", "patience_s", "visa")


@dataclass(frozen=True, slots=True)
class Options:
    """What was asked for; the instrument has the last word on rate, range and the length of a frame."""

    address: str
    resource_name: str
    dialect: Dialect
    inputs: tuple[str, ...]
    rate_hz: float
    ranges_v: tuple[float, ...]
    mode: str
    frame_s: float
    patience_s: float
    library: str


def source_from(address: Address) -> ScpiSource:
    """Make the source. Raises AddressError, or FormatError where the dialect's file is wrong."""
    return ScpiSource(options_from(address))


def options_from(address: Address) -> Options:
    """Read the address. Raises AddressError naming the key and what is right, FormatError for the dialect's file."""
    address.allow(*_KEYS)
    if "::" not in address.path:
        raise address.error(address.path or "resource", "no VISA resource name; try TCPIP0::192.168.1.20::5025::SOCKET")
    dialect = load_dialect(address.string("dialect", STANDARD))
    mode = address.choice("mode", dialect.modes[0], ("stream", "frames"))
    if mode not in dialect.modes:
        raise address.error("mode", f"the dialect has no [{mode}], only [{dialect.modes[0]}]")
    inputs = _inputs(address, dialect)
    return Options(
        address=address.text,
        resource_name=address.path,
        dialect=dialect,
        inputs=inputs,
        rate_hz=address.number("rate", 50_000.0, 1.0, 1e9),
        ranges_v=_ranges(address, len(inputs)),
        mode=mode,
        frame_s=address.number("frame_s", 0.5, 1e-3, 60.0),
        patience_s=address.number("patience_s", 2.0, 0.1, 60.0),
        library=address.string("visa", "@py"),
    )


def _inputs(address: Address, dialect: Dialect) -> tuple[str, ...]:
    known = dialect.inputs.names
    text = address.string("inputs", None)
    names = known if text is None else tuple(name.strip() for name in text.split(","))
    if not set(names) <= set(known) or len(set(names)) < len(names):
        raise address.error("inputs", f"each once, out of {', '.join(known)}, joined by commas")
    return names


def _ranges(address: Address, inputs: int) -> tuple[float, ...]:
    parts = address.string("range_v", "20").split(",")
    one = [Address(address.text, "", "", {"range_v": (part,)}).number("range_v", 20.0, 1e-3, 1e4) for part in parts]
    if len(one) not in (1, inputs):
        raise address.error("range_v", f"one for all, or one for each of {inputs} inputs, joined by commas")
    return tuple(one * inputs if len(one) == 1 else one)
