from copy import deepcopy
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import AddressError, FormatError
from drivers.scpi.dialect import load_dialect, parse_dialect

WHOLE: dict[str, Any] = {
    "inputs": {"names": ["1"]},
    "data": {"type": "int16"},
    "scale": {"full_scale_count": 32768},
    "stream": {"arm": ["GO"], "fetch": "GET?"},
}


def test_the_dialect_of_the_standard_takes_frames_and_the_example_streams_too() -> None:
    assert load_dialect("standard").modes == ("frames",)
    assert load_dialect("example-stream").modes == ("stream", "frames")


def test_a_dialect_may_leave_out_what_has_a_default() -> None:
    dialect = parse_dialect(WHOLE, "own")
    assert (dialect.identify, dialect.error, dialect.stop) == ("*IDN?", "SYSTem:ERRor?", ("ABORt",))
    assert (dialect.message.read_termination, dialect.data.byte_order) == ("\n", "big")


WRONG: list[tuple[tuple[str, ...], Any, str]] = [
    (("inputs",), None, "inputs"),
    (("titel",), "t", "titel"),
    (("inputs", "names"), [], "inputs.names"),
    (("inputs", "names"), "1", "inputs.names"),
    (("data", "type"), "int12", "data.type"),
    (("data", "byte_order"), "middle", "data.byte_order"),
    (("data", "header"), "none", "use block"),
    (("scale", "full_scale_count"), 0, "scale.full_scale_count"),
    (("scale", "full_scale_count"), None, "integers need full_scale_count or volts_per_count"),
    (("scale", "volts_per_count"), "V?", "integers need full_scale_count or volts_per_count"),
    (("data", "type"), "real32", "real numbers neither"),
    (("stream", "fetch"), "GET? {input}", "all inputs at once"),
    (("stream", "fetch"), "GET? {channel}", "{channel} is not one of"),
    (("stream", "fetch"), "GET? {input!r}", "is not one of"),
    (("stream", "fetch"), "GET? {", "stream.fetch"),
    (("stream", "fetch"), "GET?\n", "one line of printable ASCII"),
    (("stream", "arm"), "GO", "stream.arm"),
    (("stream", "position"), {}, "either ask or before_block"),
    (("stream", "position"), {"ask": "P?", "before_block": True}, "either ask or before_block"),
    (("stream", "position"), {"ask": "P?", "unit": "weeks"}, "stream.position.unit"),
    (("stream", "position"), {"ask": "P?", "modulus": 1}, "stream.position.modulus"),
    (("stream",), None, "[stream] or [frames]"),
    (("message",), {"read_termination": ""}, "message.read_termination"),
]


@pytest.mark.parametrize(("key", "value", "words"), WRONG, ids=[f"{'.'.join(key)}={value}" for key, value, _ in WRONG])
def test_a_wrong_dialect_is_refused_in_one_line_that_names_the_key(
    key: tuple[str, ...], value: object, words: str
) -> None:
    table = deepcopy(WHOLE)
    inner = table if len(key) == 1 else table[key[0]]
    inner[key[-1]] = value
    if value is None:
        del inner[key[-1]]
    with pytest.raises(FormatError) as caught:
        parse_dialect(table, "own.toml")
    assert str(caught.value).startswith("own.toml: ")
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_dialect_that_is_not_there_names_those_that_are(tmp_path: Path) -> None:
    with pytest.raises(AddressError, match=r"no dialect; give a TOML file or one of example-stream, standard"):
        load_dialect(str(tmp_path / "none.toml"))


@given(text=st.text(max_size=60))
def test_any_text_is_a_dialect_or_refused_in_one_line(text: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.getbasetemp() / "any.toml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises((AddressError, FormatError)) as caught:
        load_dialect(str(path))
    assert len(str(caught.value).splitlines()) == 1
