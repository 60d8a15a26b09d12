from pathlib import Path

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.commands.common import Size
from monitor.road.stops import MEASURE_EVERY_S, Stops, Terms, occupied_bytes
from tests.monitor.streams import WaitingClock


@pytest.mark.parametrize(
    ("typed", "size_bytes"),
    [("20GB", 20e9), ("500 MB", 5e8), ("1.5GiB", 1.5 * 2**30), ("800k", 8e5), (" 2 TB ", 2e12), ("4MiB", 4 * 2**20)],
)
def test_a_size_is_a_number_and_a_unit(typed: str, size_bytes: float) -> None:
    assert Size().convert(typed, None, None) == size_bytes


@given(st.text())
def test_whatever_is_typed_as_a_size_is_one_or_is_refused_with_what_would_be_right(typed: str) -> None:
    try:
        size_bytes = Size().convert(typed, None, None)
    except click.BadParameter as error:
        said = error.format_message()
    else:
        said = "20GB" if size_bytes > 0 else ""
    assert "20GB" in said


async def test_without_terms_there_is_never_a_reason(tmp_path: Path) -> None:
    clock = WaitingClock()
    stops = Stops(Terms(), tmp_path, clock)
    clock.time_s += 1e9
    assert await stops.reason(1e9) == ""


async def test_the_folder_is_measured_now_and_then_with_all_that_is_in_it(tmp_path: Path) -> None:
    clock = WaitingClock()
    stops = Stops(Terms(size_bytes=3_000_000), tmp_path, clock)
    assert await stops.reason(0.0) == ""
    (tmp_path / "clips" / "0001").mkdir(parents=True)
    (tmp_path / "clips" / "0001" / "samples-001.arrow").write_bytes(bytes(1_000_000))
    (tmp_path / "samples-001.arrow").write_bytes(bytes(2_000_000))
    assert await stops.reason(0.0) == ""
    clock.time_s += MEASURE_EVERY_S
    assert await stops.reason(0.0) == "3.0 MB are kept"


def test_a_folder_that_is_gone_holds_nothing(tmp_path: Path) -> None:
    assert occupied_bytes(tmp_path / "nowhere") == 0
