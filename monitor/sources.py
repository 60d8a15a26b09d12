"""What is plugged in and what can be opened. Nothing is opened; the network is asked by broadcast."""

import json
import os
import re
import warnings
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from shlex import quote
from typing import Any

import click

from acquire.errors import one_line
from drivers.registry import GROUP
from monitor.terminal import result_columns
from monitor.text import broken, plain

SCHEMA = "coilcall.sources/1"

EXAMPLES = {
    "file": "drive.csv?rate=50000",
    "scpi": "scpi:TCPIP0::192.168.1.20::5025::SOCKET",
    "serial": "serial:/dev/ttyACM0?baud=2000000",
    "simulated": "simulated:?cylinders=4&rpm=800",
}
_BUSES = ("USB INSTR", "GPIB INTFC")


@dataclass(frozen=True, slots=True)
class Found:
    """One source: the address to paste, what it is, and what stands in its way, if anything does."""

    address: str
    text: str
    missing: str | None = None


@dataclass(frozen=True, slots=True)
class Sources:
    """All that was found; `notes` are what could not be looked for, and why."""

    ports: tuple[Found, ...] = ()
    resources: tuple[Found, ...] = ()
    drivers: tuple[Found, ...] = ()
    notes: tuple[str, ...] = ()


def print_sources(*, as_json: bool) -> None:
    """Look, and print to stdout."""
    found = find_sources()
    lines = [json.dumps({"schema": SCHEMA} | asdict(found), indent=1)] if as_json else table(found, result_columns())
    click.echo("\n".join(lines))


def find_sources() -> Sources:
    """Look everywhere; what cannot be looked for becomes a note."""
    notes: list[str] = []
    ports = _looked("serial ports", serial_ports, notes)
    resources = _looked("VISA resources", lambda: visa_resources(notes), notes)
    points = sorted(entry_points(group=GROUP), key=lambda point: point.name)
    return Sources(ports, resources, tuple(map(driver, points)), tuple(notes))


def serial_ports() -> Iterable[Found]:
    """List the machine's serial ports by name, without opening any."""
    from serial.tools.list_ports import comports

    for port in sorted(comports(), key=lambda one: one.device):
        text = " ".join(filter(None, (port.description, port.serial_number)))
        yield Found(f"serial:{port.device}", plain(text if text != "n/a" else "serial port"), _no_access(port.device))


def visa_resources(notes: list[str]) -> Iterable[Found]:
    """List what VISA finds; serial ports are listed as such already. Notes say which buses need something installed."""
    from drivers.scpi.wire import manager

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        visa = manager("@py")
        names = visa.list_resources()
        buses: Any = visa.visalib.get_debug_info()
    why = {bus.split()[0]: buses[bus][0] for bus in _BUSES if isinstance(buses.get(bus), list)}
    notes += [f"{bus} instruments: {_line(reason.split('. ')[0].rstrip('.'))}" for bus, reason in why.items()]
    told = [str(warning.message) for warning in caught if warning.category is UserWarning]
    # One of them runs two sentences into one word.
    spaced = [re.sub(r"\.(?=[A-Z])", ". ", text) for text in told]
    notes += [f"network instruments, some: {_line(text)}" for text in spaced]
    return [Found(f"scpi:{name}", "VISA resource") for name in names if not name.startswith("ASRL")]


def driver(point: EntryPoint) -> Found:
    """Tell whether an installed driver can be imported, and if not, why."""
    package, missing = point.dist.name if point.dist else point.module, None
    try:
        point.load()
    except Exception as error:  # noqa: BLE001  a package that is not ours may raise anything on import
        missing = _reason(error)
    return Found(EXAMPLES.get(point.name, f"{point.name}:"), f"{point.name}, from {package}", missing)


def table(found: Sources, columns: int) -> list[str]:
    """Give the lines that a person reads: under each head an address, quoted for a shell, and what it is."""
    heads = (
        ("Plugged in: serial ports", found.ports, "none"),
        ("Plugged in: VISA instruments", found.resources, "none found; one on the network may still answer"),
        ("Installed: drivers, each with an address as an example", found.drivers, "none"),
    )
    width = max((len(quote(one.address)) for _, several, _ in heads for one in several), default=0)
    lines: list[str] = []
    for head, several, none in heads:
        lines += [head, *(_row(one, width) for one in several or ()), *([] if several else [f"  {none}"]), ""]
    lines += [part for note in found.notes for part in broken(f"Not looked for: {note}", columns, 2)]
    return lines if found.notes else lines[:-1]


def _row(found: Found, width: int) -> str:
    return f"  {quote(found.address):<{width}}  {found.text}" + (f"  - but {found.missing}" if found.missing else "")


def _looked(what: str, look: Callable[[], Iterable[Found]], notes: list[str]) -> tuple[Found, ...]:
    """Look in one place; whatever goes wrong there must not hide the other places."""
    try:
        return tuple(look())
    except Exception as error:  # noqa: BLE001  of other people's libraries and drivers
        notes.append(f"{what}: {_reason(error)}")
        return ()


def _no_access(device: str) -> str | None:
    if not Path(device).exists() or os.access(device, os.R_OK | os.W_OK):
        return None
    return f"you may not open it; look with ls -l {device} which group may, and join that"


def _reason(error: Exception) -> str | None:
    return _line(f"{type(error).__name__}: {error}")


def _line(text: str) -> str:
    return plain(one_line(text))
