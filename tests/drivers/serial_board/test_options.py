import pytest

from acquire.errors import AddressError
from drivers.registry import source_for


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("serial:", "none given"),
        ("serial:/dev/x?rate=1000", "frames describe themselves"),
        ("serial:/dev/x?dialect=lines", "lines do not tell their rate"),
        ("serial:/dev/x?dialect=words", "none of frames, lines"),
        ("serial:/dev/x?speed=9600", "unknown key"),
        ("serial:/dev/x?baud=9600.5", "not a whole number"),
        ("serial:/dev/x?baud=1", "too small"),
        ("serial:/dev/x?dialect=lines&rate=0", "too small"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=12", "bits and range_v go together"),
        ("serial:/dev/x?dialect=lines&rate=1000&range_v=3.3", "bits and range_v go together"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=40&range_v=3.3", "too large"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=12&range_v=5,0", "no range of volts that rises"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=12&range_v=nan", "no range of volts that rises"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=12&range_v=1,2,3", "is no range"),
        ("serial:/dev/x?dialect=lines&rate=1000&bits=12&range_v=x", "is no range"),
        ("serial:/dev/x?dialect=lines&rate=1000&inputs=0", "too small"),
        ("serial:/dev/x?patience_s=0", "too small"),
    ],
)
def test_what_cannot_be_meant_is_one_line_that_says_what_can(address: str, said: str) -> None:
    with pytest.raises(AddressError) as caught:
        source_for(address)
    assert said in str(caught.value)
    assert str(caught.value).startswith(address)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "address",
    [
        "serial:/dev/x",
        "serial:COM5?baud=2000000",
        "serial:/dev/x?dialect=lines&rate=1000",
        "serial:/dev/x?dialect=lines&rate=1000&inputs=3&bits=12&range_v=-10,10&patience_s=10",
    ],
)
def test_making_a_source_touches_no_port(address: str) -> None:
    source_for(address).close()
