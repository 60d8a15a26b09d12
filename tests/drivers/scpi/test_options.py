import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import AddressError, FormatError
from drivers.address import parse_address
from drivers.scpi.options import options_from

RESOURCE = "TCPIP0::192.0.2.7::5025::SOCKET"


def test_an_address_carries_a_visa_name_and_what_is_wanted() -> None:
    options = options_from(parse_address(f"scpi:{RESOURCE}?inputs=2,1&rate=2e5&range_v=5,10&frame_s=0.2&visa=%40ivi"))
    assert options.resource_name == RESOURCE
    assert (options.inputs, options.ranges_v, options.rate_hz) == (("2", "1"), (5.0, 10.0), 2e5)
    assert (options.mode, options.frame_s, options.library) == ("frames", 0.2, "@ivi")


def test_what_is_not_said_has_a_default() -> None:
    options = options_from(parse_address("scpi:USB0::0x1234::0x5678::SN::INSTR"))
    assert options.resource_name == "USB0::0x1234::0x5678::SN::INSTR"
    assert (options.inputs, options.ranges_v) == (("1", "2", "3", "4"), (20.0,) * 4)
    assert (options.rate_hz, options.patience_s, options.library) == (50_000.0, 2.0, "@py")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("scpi:", "no VISA resource name; try TCPIP0::"),
        ("scpi:192.168.1.20", "no VISA resource name; try TCPIP0::"),
        (f"scpi:{RESOURCE}?speed=1", "speed: unknown key; known here: dialect, inputs"),
        (f"scpi:{RESOURCE}?inputs=1,9", "inputs: each once, out of 1, 2, 3, 4, joined by commas"),
        (f"scpi:{RESOURCE}?inputs=1,1", "inputs: each once"),
        (f"scpi:{RESOURCE}?inputs=", "inputs: each once"),
        (f"scpi:{RESOURCE}?rate=0", "rate: 0 is too small"),
        (f"scpi:{RESOURCE}?range_v=5,5", "range_v: one for all, or one for each of 4 inputs"),
        (f"scpi:{RESOURCE}?range_v=5,x,5,5", 'range_v: "x" is not a number'),
        (f"scpi:{RESOURCE}?mode=burst", 'mode: "burst" is none of stream, frames'),
        (f"scpi:{RESOURCE}?mode=stream", "mode: the dialect has no [stream], only [frames]"),
        (f"scpi:{RESOURCE}?dialect=klingon", "klingon: no dialect"),
    ],
)
def test_a_wrong_address_is_refused_in_one_line(text: str, words: str) -> None:
    with pytest.raises(AddressError) as caught:
        options_from(parse_address(text))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@given(key=st.sampled_from(["dialect", "inputs", "rate", "range_v", "mode", "frame_s", "patience_s"]), text=st.text())
def test_any_value_is_understood_or_refused_in_one_line(key: str, text: str) -> None:
    try:
        outcome = options_from(parse_address(f"scpi:{RESOURCE}?{key}={text}")).resource_name
    except (AddressError, FormatError) as error:
        outcome = str(error)
    assert len(outcome.splitlines()) == 1
