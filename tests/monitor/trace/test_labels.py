from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from monitor.trace.labels import Label, cells, placed

labels = st.lists(st.builds(Label, st.integers(0, 59), st.sampled_from(["4X", "12·", "long words"]), st.integers(0, 2)))


@given(labels, st.integers(1, 60))
def test_a_line_is_always_as_wide_as_it_should_be_and_no_label_touches_another(some: list[Label], width: int) -> None:
    kept = placed([label for label in some if label.column < width], width)
    assert len("".join(text for text, _ in cells(kept, width, ""))) == width
    for before, after in pairwise(kept):
        assert before.column + len(before.text) < after.column


def test_a_miss_is_named_before_what_went_well() -> None:
    kept = placed([Label(0, "1·", 2), Label(1, "4X", 0), Label(9, "2·", 2)], 20)
    assert [label.text for label in kept] == ["4X", "2·"]


def test_where_words_do_not_fit_their_glyph_does() -> None:
    kept = placed([Label(0, "X no answer", short="X"), Label(4, "! feed sags", 1, short="!")], 12)
    assert [label.text for label in kept] == ["X no answer"]
    kept = placed([Label(4, "X no answer", short="X"), Label(0, "! feed sags", 1, short="!")], 16)
    assert [label.text for label in kept] == ["!", "X no answer"]
