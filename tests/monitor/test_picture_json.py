import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import FormatError
from monitor.picture_json import decode, encode
from monitor.source_view import SourceView
from tests.monitor.dashboard.pictures import picture


def test_what_was_sent_is_what_is_shown() -> None:
    shown = picture(missing=4)
    assert decode(encode(shown.snapshot, shown.source)) == (shown.snapshot, shown.source)


@given(
    st.binary() | st.text().map(str.encode) | st.recursive(st.none() | st.text(), st.lists).map(repr).map(str.encode)
)
def test_anything_else_is_refused_in_one_line(text: bytes) -> None:
    with pytest.raises(FormatError) as raised:
        decode(text)
    assert "\n" not in str(raised.value)


def test_another_version_is_refused() -> None:
    shown = picture(missing=4)
    later = encode(shown.snapshot, SourceView("somewhere")).replace(b"picture/1", b"picture/9")
    with pytest.raises(FormatError, match="picture/1"):
        decode(later)
