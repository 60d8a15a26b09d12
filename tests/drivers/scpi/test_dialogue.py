"""What goes over the wire, line by line."""

import numpy as np
import pytest

from acquire.errors import AddressError
from drivers.registry import source_for
from tests.drivers.scpi.reading import read
from tests.drivers.scpi.server import Digitizer, noise, serving

NOISE = noise(20_000)

BEGIN = ["*IDN?", "*RST", "*CLS"]
RATE = ["SENSe:SWEep:TINTerval 2e-05", "SENSe:SWEep:TINTerval?"]
RANGES = [
    "SENSe:VOLTage1:RANGe 10",
    "SENSe:VOLTage1:RANGe?",
    "SENSe:VOLTage2:RANGe 20",
    "SENSe:VOLTage2:RANGe?",
]
POINTS = ["SENSe:SWEep:POINts 5000", "SENSe:SWEep:POINts?"]
INTEGERS = ["FORMat:DATA INTeger,16", "FORMat:BORDer SWAPped", "ROUTe:SCAN (@1,2)"]
ASKED = "inputs=1,2&rate=50000&range_v=10,20"

STREAM = [*BEGIN, *INTEGERS, *RATE, *RANGES, "SYSTem:ERRor?", "INITiate:CONTinuous ON"]
FRAME = ["INITiate:CONTinuous OFF", "INITiate:IMMediate", "*OPC?", "DATA:TIME?", "DATA?"]
FRAMES = [*BEGIN, *INTEGERS, *RATE, *RANGES, *POINTS, "SYSTem:ERRor?"]
STANDARD = [
    *BEGIN,
    "FORMat:DATA REAL,32",
    "FORMat:BORDer SWAPped",
    "TRIGger:SOURce IMMediate",
    'SENSe:FUNCtion:ON "XTIMe:VOLTage1"',
    'SENSe:FUNCtion:ON "XTIMe:VOLTage2"',
    *RATE,
    *RANGES,
    *POINTS,
    "SYSTem:ERRor?",
]
STANDARD_FRAME = ["INITiate:IMMediate", "*OPC?", 'SENSe:DATA? "XTIMe:VOLTage1"', 'SENSe:DATA? "XTIMe:VOLTage2"']


@pytest.mark.parametrize(
    ("options", "sent"),
    [
        ("dialect=example-stream", [*STREAM, *["DATA:COUNt?;:DATA:REMove?"] * 3]),
        ("dialect=example-stream&mode=frames&frame_s=0.1", [*FRAMES, *FRAME, *FRAME]),
        ("frame_s=0.1", [*STANDARD, *STANDARD_FRAME, *STANDARD_FRAME]),
    ],
    ids=["stream", "frames", "standard"],
)
def test_the_dialogue_is_exactly_what_the_dialect_says(options: str, sent: list[str]) -> None:
    with serving(Digitizer(NOISE)) as server:
        read(source_for(f"scpi:{server.resource_name}?{ASKED}&{options}"), 10_000)
    assert server.received[: len(sent)] == sent
    assert set(server.received[len(sent) :]) <= {"ABORt", sent[-1]}


def test_errors_are_drained_until_the_instrument_says_none() -> None:
    digitizer = Digitizer(NOISE)

    def late(query: str, answer: bytes) -> bytes:
        if query == "SENSe:VOLTage2:RANGe?":
            digitizer.errors.extend(['-113,"Undefined header"', '-222,"Data out of range;2"', '-350,"Queue overflow"'])
        return answer

    with serving(digitizer, late) as server:
        source = source_for(f"scpi:{server.resource_name}?inputs=1,2")
        with pytest.raises(AddressError) as caught:
            source.open()
    assert str(caught.value).endswith(
        "refuses: -113 Undefined header (command error); -222 Data out of range;2 (execution error); "
        "-350 Queue overflow (device-specific error)"
    )
    assert server.received.count("SYSTem:ERRor?") == 4
    assert not digitizer.errors


def test_the_rate_and_the_ranges_are_what_the_instrument_says_they_have_become() -> None:
    with serving(Digitizer(NOISE, rate_hz=48_000.0)) as server:
        address = server.address(dialect="example-stream", rate=50_000, range_v=5)
        info, _ = read(source_for(address), 1)
    assert info.sample_rate_hz == 48_000.0
    assert np.allclose([channel.volts_per_count for channel in info.channels], 20 / 32768)
