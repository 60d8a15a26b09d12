import math
from contextlib import suppress
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from acquire.errors import FormatError
from monitor.picture_json import LONGEST, decode, encode
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView
from tests.monitor.dashboard.pictures import X, cylinder, miss, picture, snapshot, source

st.register_type_strategy(float, st.floats(allow_nan=False, allow_infinity=False))  # in fields, below


def test_what_was_sent_is_what_is_shown() -> None:
    shown = picture(missing=4)
    assert decode(encode(shown.snapshot, shown.source)) == (shown.snapshot, shown.source)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.from_type(Snapshot), st.from_type(SourceView))
def test_whatever_the_fields_hold_comes_back_and_is_one_line(snapshot: Snapshot, source: SourceView) -> None:
    line = encode(snapshot, source)
    assert b"\n" not in line
    assert decode(line) == (snapshot, source)


@pytest.mark.parametrize("number", [math.nan, math.inf])
def test_what_is_not_a_number_is_unknown(number: float) -> None:
    assert decode(encode(snapshot(rpm=number), source()))[0].rpm is None


def test_a_file_name_that_is_no_utf_8_is_shown_as_far_as_it_can_be() -> None:
    assert decode(encode(snapshot(), source(address="drive\udcff.csv")))[1].address == "drive?.csv"


def test_the_largest_picture_is_far_below_the_limit() -> None:
    flags = tuple(miss(number, 4, float(number), detail="x" * 200) for number in range(200))
    full = replace(snapshot(), flags=flags, cylinders=tuple(cylinder(number, (X,) * 400) for number in range(1, 13)))
    assert len(encode(full, source())) < LONGEST / 10


def test_more_than_the_limit_is_refused_before_it_is_read() -> None:
    with pytest.raises(FormatError, match=f"has {LONGEST + 1} bytes; up to {LONGEST}"):
        decode(b" " * (LONGEST + 1))


@given(
    st.binary() | st.text().map(str.encode) | st.recursive(st.none() | st.text(), st.lists).map(repr).map(str.encode)
)
def test_anything_else_is_refused_in_one_line(text: bytes) -> None:
    with pytest.raises(FormatError) as raised:
        decode(text)
    assert "\n" not in str(raised.value)


@given(st.data())
def test_a_damaged_picture_is_refused_or_is_still_one(data: st.DataObject) -> None:
    line = bytearray(encode(snapshot(missing=4), source()))
    for _ in range(data.draw(st.integers(1, 4))):
        line[data.draw(st.integers(0, len(line) - 1))] = data.draw(st.integers(0, 255))
    with suppress(FormatError):
        assert isinstance(decode(bytes(line))[0], Snapshot)


def test_another_version_is_refused() -> None:
    later = encode(snapshot(), source()).replace(b"picture/1", b"picture/9")
    with pytest.raises(FormatError, match="picture/1"):
        decode(later)
