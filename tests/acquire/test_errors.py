from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import one_line


@given(st.text())
def test_whatever_is_said_becomes_one_line_with_the_same_words(text: str) -> None:
    line = one_line(text)
    assert line.splitlines() in ([], [line])
    assert line.split(" ") == (text.split() or [""])


def test_an_error_without_words_says_its_kind_and_a_text_without_stays_empty() -> None:
    assert one_line(MemoryError()) == "MemoryError"
    assert one_line(ValueError("no\n  such   key")) == "no such key"
    assert one_line(" \n") == ""
