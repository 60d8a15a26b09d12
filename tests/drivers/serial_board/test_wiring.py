"""The figures of WIRING.md are computed: voltage dividers by Ohm's law, rise time of a first-order low-pass ln(9) τ."""

import math
from pathlib import Path

import pytest

import drivers.serial_board

TEXT = (Path(drivers.serial_board.__file__).parent / "WIRING.md").read_text(encoding="utf-8")
LINE_V, PULL_UP_OHM, ADC_V, CAPACITOR_F = 5.0, 1e3, 3.3, 100e-12


def rest_v(divider_ohm: float, pull_up_ohm: float = PULL_UP_OHM) -> float:
    """The level of a line pulled up to 5 V, with a divider to ground on it."""
    return LINE_V * divider_ohm / (divider_ohm + pull_up_ohm)


def _cells(start: str) -> list[str]:
    (row,) = [line for line in TEXT.splitlines() if line.startswith(f"| {start}")]
    return [cell.strip() for cell in row.strip("|").split("|")]


@pytest.mark.parametrize(("wire", "upper_ohm", "lower_ohm"), [("control", 68e3, 100e3), ("feed", 100e3, 10e3)])
def test_range_scale_load_and_rise_time_of_each_divider_are_right(
    wire: str, upper_ohm: float, lower_ohm: float
) -> None:
    total_ohm = upper_ohm + lower_ohm
    rise_s = math.log(9.0) * upper_ohm * lower_ohm / total_ohm * CAPACITOR_F
    assert _cells(wire)[1:] == [
        f"{upper_ohm / 1e3:.0f} kΩ",
        f"{lower_ohm / 1e3:.0f} kΩ",
        f"{ADC_V * total_ohm / lower_ohm:.3g}",
        f"{total_ohm / lower_ohm:.3g}",
        f"{total_ohm / 1e3:.0f} kΩ",
        f"{rise_s * 1e6:.1f} µs",
    ]


@pytest.mark.parametrize("divider_ohm", [168e3, 100e3, 20e3, 10e3, 3.3e3])
def test_what_a_divider_takes_off_a_line_behind_a_kilohm_is_right(divider_ohm: float) -> None:
    level_v = rest_v(divider_ohm)
    assert _cells(f"{divider_ohm / 1e3:g} kΩ")[1:] == [f"{level_v:.2f} V", f"{(LINE_V - level_v) * 1e3:.0f} mV"]


def test_what_it_takes_off_a_weaker_pull_up_is_right() -> None:
    assert f"10 kΩ even 168 kΩ take off {(LINE_V - rest_v(168e3, 10e3)) * 1e3:.0f} mV" in TEXT


@pytest.mark.parametrize(("pulse", "volts"), [("−150 V", 150.0), ("+112 V", 112.0)])
def test_the_current_that_a_clamp_must_take_is_right(pulse: str, volts: float) -> None:
    assert _cells(pulse)[1:] == [f"{volts / ohm * 1e3:.1f} mA" for ohm in (68e3, 100e3)]


def test_a_divider_above_a_hundred_kilohm_keeps_the_line_within_a_hundredth() -> None:
    assert LINE_V - rest_v(100e3) <= 0.01 * LINE_V
