import json
import os
import tty
import warnings
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial.tools.list_ports

from drivers.address import parse_address
from drivers.registry import GROUP, scheme_names, source_for
from drivers.scpi import wire
from monitor.sources import Found, Sources, driver, find_sources, print_sources, table


class Visa:
    """A VISA library that finds two instruments, has no USB, and grumbles."""

    def __init__(self) -> None:
        self.visalib = self

    def list_resources(self) -> tuple[str, ...]:
        warnings.warn("only one\ninterface.Install more", stacklevel=1)
        return "TCPIP0::10.0.0.7::inst0::INSTR", "ASRL/dev/ttyS0::INSTR", "USB0::1::2::3::INSTR"

    def get_debug_info(self) -> dict[str, object]:
        return {"USB INSTR": ["Please install\nsomething. And more.", "no module"], "GPIB INTFC": "Available"}


@pytest.fixture
def visa(monkeypatch: pytest.MonkeyPatch) -> Visa:
    visa = Visa()
    monkeypatch.setattr(wire, "manager", lambda _: visa)
    return visa


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """One serial port, with something odd in the name that it gives itself."""
    board, host = os.openpty()
    tty.setraw(host)
    name = os.ttyname(host)
    found = SimpleNamespace(device=name, description="ADC \x1b[2J board", serial_number="0042")
    monkeypatch.setattr(serial.tools.list_ports, "comports", lambda: [found])
    yield name
    os.close(board)
    os.close(host)


@pytest.mark.usefixtures("visa")
def test_ports_and_instruments_come_with_the_address_to_paste(port: str) -> None:
    found = find_sources()
    assert [one.address for one in found.ports] == [f"serial:{port}"]
    assert [one.address for one in found.resources] == [
        "scpi:TCPIP0::10.0.0.7::inst0::INSTR",
        "scpi:USB0::1::2::3::INSTR",
    ]
    assert found.notes == (
        "USB instruments: Please install something",
        "network instruments, some: only one interface. Install more",
    )
    for one in (*found.ports, *found.resources):
        source_for(one.address).close()


@pytest.mark.usefixtures("visa")
def test_what_a_device_says_of_itself_cannot_move_the_cursor(port: str) -> None:
    (found,) = find_sources().ports
    assert found.text == "ADC ␛[2J board 0042"
    assert found.address.endswith(port)


@pytest.mark.usefixtures("visa", "port")
def test_nothing_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*arguments: object, **options: object) -> None:
        raise AssertionError(f"opened {arguments} {options}")

    monkeypatch.setattr(serial.Serial, "open", refuse)
    monkeypatch.setattr(Visa, "open_resource", refuse, raising=False)
    assert find_sources().ports


@pytest.mark.usefixtures("visa")
def test_a_port_that_may_not_be_opened_says_so(port: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)
    (found,) = find_sources().ports
    assert found.missing is not None
    assert f"ls -l {port}" in found.missing


@pytest.mark.usefixtures("port")
def test_a_library_that_fails_hides_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: str) -> None:
        raise RuntimeError("no\nbus")

    monkeypatch.setattr(wire, "manager", fail)
    found = find_sources()
    assert found.notes == ("VISA resources: RuntimeError: no bus",)
    assert found.ports
    assert found.drivers


@pytest.mark.usefixtures("visa", "port")
def test_every_installed_driver_is_listed_with_an_address_of_its_own() -> None:
    addresses = [one.address for one in find_sources().drivers]
    assert {parse_address(address).scheme for address in addresses} == set(scheme_names())


def test_a_driver_that_does_not_load_says_why(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "plug_without_card.py").write_text("import no_such_library\n")
    monkeypatch.syspath_prepend(tmp_path)
    found = driver(EntryPoint("card", "plug_without_card:open_card", GROUP))
    assert found.address == "card:"
    assert found.missing == "ModuleNotFoundError: No module named 'no_such_library'"


def test_the_table_says_what_is_not_there_too() -> None:
    lines = table(Sources(drivers=(Found("card:", "card, from plug", "broken"),), notes=("USB: no library",)), 80)
    assert lines[1] == "  none"
    assert "  'a?b&c'  x" in table(Sources(ports=(Found("a?b&c", "x"),)), 80)
    assert "  card:  card, from plug  - but broken" in lines
    assert lines[-1] == "Not looked for: USB: no library"


@pytest.mark.usefixtures("visa")
def test_json_holds_the_same(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    print_sources(as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert found["schema"] == "coilcall.sources/1"
    assert found["ports"] == [{"address": f"serial:{port}", "text": "ADC ␛[2J board 0042", "missing": None}]
    print_sources(as_json=False)
    assert f"  serial:{port} " in capsys.readouterr().out
