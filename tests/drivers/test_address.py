import string
from pathlib import Path
from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.errors import AddressError
from drivers.address import Address, parse_address
from monitor.commands.common import rated


@pytest.mark.parametrize(
    ("text", "scheme", "path", "query"),
    [
        ("simulated:", "simulated", "", {}),
        ("simulated:?rate=100000&fault=a&fault=b", "simulated", "", {"rate": ("100000",), "fault": ("a", "b")}),
        ("serial:/dev/ttyACM0?rate=50000", "serial", "/dev/ttyACM0", {"rate": ("50000",)}),
        ("serial:COM3?rate=50000", "serial", "COM3", {"rate": ("50000",)}),
        ("road/test.csv", "file", "road/test.csv", {}),
        ("road/test.csv?rate=1e+5", "file", "road/test.csv", {"rate": ("1e+5",)}),
        ("file:road/test.csv?rate=5", "file", "road/test.csv", {"rate": ("5",)}),
        ("C:\\road\\test.csv", "file", "C:\\road\\test.csv", {}),
        ("c:/road/test.csv?rate=5", "file", "c:/road/test.csv", {"rate": ("5",)}),
        ("bench.sources:Card", "bench.sources", "Card", {}),
        ("simulated:?label=left%26right", "simulated", "", {"label": ("left&right",)}),
        ("simulated:?a=", "simulated", "", {"a": ("",)}),
    ],
)
def test_an_address_is_taken_apart(text: str, scheme: str, path: str, query: dict[str, tuple[str, ...]]) -> None:
    assert parse_address(text) == Address(text, scheme, path, query)


@pytest.mark.parametrize("name", ["12:30 road test.csv", "what?.csv", "serial:port", "a?rate=3", "simulated:"])
def test_what_exists_is_a_file_whatever_its_name_looks_like(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / name).touch()
    monkeypatch.chdir(tmp_path)
    assert parse_address(name) == Address(name, "file", name)
    assert parse_address(f"file:{name}") == Address(f"file:{name}", "file", name)


@pytest.mark.parametrize("text", ["", "  ", "simulated:?rate", "simulated:?=3", "x.csv?rate=1&two"])
def test_what_is_no_address_is_refused_in_one_line(text: str) -> None:
    with pytest.raises(AddressError) as caught:
        parse_address(text)
    assert text.strip() in str(caught.value)
    assert "\n" not in str(caught.value)


def test_typed_values_come_out_of_the_query() -> None:
    address = parse_address("simulated:?no=1&rate=2.5e4&order=1-2&mode=b&many=1&many=2")
    assert address.number("rate", None, low=1.0) == 25000.0
    assert address.number("absent", 7.0) == 7.0
    assert address.whole("no", 3, 1, 16) == 1
    assert address.whole("absent", 3, 1, 16) == 3
    assert address.string("order", "") == "1-2"
    assert address.choice("mode", "a", ("a", "b")) == "b"
    assert address.choice("absent", None, ("a", "b")) is None
    assert address.texts("many") == ("1", "2")
    address.allow("no", "rate", "order", "mode", "many")


def _take_all(address: Address) -> None:
    address.allow("rate", "number", "mode")
    address.number("rate", None, 1.0, 1e9)
    address.whole("number", 1, 1, 16)
    address.choice("mode", "a", ("a", "b"))


@pytest.mark.parametrize(
    ("query", "right"),
    [
        ("rate=fast", '"fast" is not a number'),
        ("rate=", '"" is not a number'),
        ("rate=nan", "not a finite number"),
        ("rate=inf", "not a finite number"),
        ("rate=0", "1 is the least"),
        ("rate=1e99", "1e+09 is the most"),
        ("rate=1&rate=2", "given 2 times"),
        ("number=1.5", "not a whole number"),
        ("number=17", "16 is the most"),
        ("mode=c", '"c" is none of a, b'),
        ("wrong=1", "known here: rate, number, mode"),
    ],
)
def test_a_wrong_value_is_refused_in_one_line_with_its_key(query: str, right: str) -> None:
    address = parse_address(f"simulated:?{query}")
    with pytest.raises(AddressError) as caught:
        _take_all(address)
    assert str(caught.value).startswith(f"simulated:?{query}: {query.partition('=')[0]}: ")
    assert right in str(caught.value)


@given(st.text())
def test_any_text_is_an_address_or_refused(text: str) -> None:
    try:
        outcome = parse_address(text).scheme
    except AddressError as error:
        outcome = str(error)
    assert len(outcome.splitlines()) == 1


@given(st.dictionaries(st.text(string.printable, min_size=1), st.text(string.printable), max_size=5))
def test_a_query_that_was_quoted_comes_back_whole(values: dict[str, str]) -> None:
    query = "&".join(f"{quote(key, safe='')}={quote(value, safe='')}" for key, value in values.items())
    assert parse_address(f"simulated:?{query}").query == {key: (value,) for key, value in values.items()}


def test_a_file_with_a_question_mark_in_its_name_takes_a_rate(tmp_path: Path) -> None:
    file = tmp_path / "which van?.csv"
    file.touch()
    address = parse_address(rated(str(file), 50_000.0))
    assert (address.path, dict(address.query)) == (str(file), {"rate": ("50000.0",)})
    assert dict(parse_address(rated("drive.csv?inputs=1", 50_000.0)).query) == {"inputs": ("1",), "rate": ("50000.0",)}
