"""Addresses of simulated engines and the set-up text they come with."""

import tomllib
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from acquire.block import StreamInfo
from acquire.errors import AddressError
from drivers.address import parse_address
from drivers.simulated import open_simulated
from drivers.simulated.model import COMMON_ORDERS, EngineModel
from drivers.simulated.scenario import NAMES, Scenario, named
from drivers.simulated.source import SimulatedEngine


def _open(query: str) -> tuple[SimulatedEngine, StreamInfo, dict[str, Any]]:
    engine = open_simulated(parse_address(f"simulated:?{query}&pace=0"))
    assert isinstance(engine, SimulatedEngine)
    info = engine.open()
    assert info.setup_toml is not None
    return engine, info, tomllib.loads(info.setup_toml)


def test_a_bare_address_is_a_live_engine_on_three_leads() -> None:
    info = open_simulated(parse_address("simulated:")).open()
    assert info.is_live
    assert info.sample_rate_hz == 100_000.0
    assert info.source == "simulated:"
    assert [c.label for c in info.channels] == ["supply", "control1", "acknowledgement"]


def test_the_set_up_names_engine_and_inputs() -> None:
    _, info, setup = _open("cylinders=8&inputs=battery,control3,acknowledgement2,injector5&lines=1-4-6-7,8-3-5-2")
    assert setup["engine"] == {"cylinders": 8, "firing_order": [1, 8, 4, 3, 6, 5, 7, 2], "sparks_per_cycle": 1}
    assert setup["channel"] == [
        {"input": "in1", "role": "battery"},
        {"input": "in2", "role": "control", "cylinder": 3},
        {"input": "in3", "role": "acknowledgement", "cylinders": [8, 3, 5, 2]},
        {"input": "in4", "role": "injector", "cylinder": 5, "scale": 10.0},
    ]
    assert [c.input for c in info.channels] == [c["input"] for c in setup["channel"]]


def test_uneven_two_stroke_and_waste_spark_engines_are_written_down() -> None:
    assert _open("cylinders=2&angles=0-270")[2]["engine"]["firing_angles_deg"] == [0.0, 270.0]
    assert _open("cylinders=2&strokes=2")[2]["engine"]["strokes"] == 2
    assert _open("order=1-3-4-2&sparks=2")[2]["engine"]["sparks_per_cycle"] == 2


def test_all_inputs_are_supply_every_control_and_every_line() -> None:
    roles = [c["role"] for c in _open("cylinders=4&lines=each&inputs=all")[2]["channel"]]
    assert roles == ["supply"] + ["control"] * 4 + ["acknowledgement"] * 4


def test_a_whole_address_runs() -> None:
    query = (
        "cylinders=6&order=1-4-2-5-3-6&rate=20000&scenario=idle&rpm=1200&seed=3&duration=3&timing=at-spark&bits=12"
        "&fault=no-answer,cylinder=4,probability=0.5&fault=feed-dropout,start_s=1,end_s=1.1&wander=0&noise=0.01"
    )
    engine, info, _ = _open(query)
    assert sum(b.samples for b in engine.blocks()) == info.total_samples == 60_000
    assert 0 < sum(f.expected == "unacknowledged" for f in engine.truth()) < len(engine.truth())


@pytest.mark.parametrize("name", NAMES)
def test_every_named_scenario_opens(name: str) -> None:
    assert isinstance(named(name), Scenario)
    _open(f"scenario={name}")


def test_common_orders_are_permutations() -> None:
    for cylinders, order in COMMON_ORDERS.items():
        assert sorted(order) == list(range(1, cylinders + 1))
        assert EngineModel(cylinders=cylinders).firing_order == order


@pytest.mark.parametrize(
    ("query", "named_there"),
    [
        ("colour=red", "colour"),
        ("cylinders=0", "cylinders"),
        ("cylinders=four", "cylinders"),
        ("cylinders=4&cylinders=5", "cylinders"),
        ("order=1-2-2", "order"),
        ("order=1-x", "order"),
        ("order=", "order"),
        ("cylinders=4&order=1-2-3", "order"),
        ("angles=0-1-2", "angles"),
        ("cylinders=2&angles=0-720", "angles"),
        ("cylinders=2&angles=0-nan", "angles"),
        ("sparks=3", "sparks"),
        ("cylinders=5&sparks=2", "two sparks"),
        ("cylinders=4&sparks=2&angles=0-180-300-540", "share a coil"),
        ("strokes=3", "strokes"),
        ("lines=1-2,2-3", "lines"),
        ("lines=9", "lines"),
        ("rate=0", "rate"),
        ("rate=nan", "rate"),
        ("rpm=-1", "rpm"),
        ("scenario=flying", "scenario"),
        ("knots=0:1:2:3", "mode"),
        ("knots=5:800", "times"),
        ("knots=a:b", "knots"),
        ("battery=a:b", "battery"),
        ("battery=0:1:2", "battery"),
        ("battery=1:12,0:12", "battery"),
        ("battery=0:-12", "battery"),
        ("marks=x", "marks"),
        ("timing=never", "timing"),
        ("low_a=5", "low_a"),
        ("pace=2", "pace"),
        ("duration=-1", "duration"),
        ("inputs=", "inputs"),
        ("inputs=control0", "inputs"),
        ("inputs=supply,supply", "inputs"),
        ("fault=", "fault"),
        ("fault=boom", "fault"),
        ("fault=no-call,who=4", "fault"),
        ("fault=no-call,cylinder=x", "fault"),
        ("fault=no-call,cylinder=9", "fault"),
        ("fault=no-call,probability=2", "fault"),
    ],
)
def test_what_cannot_be_meant_is_one_clear_line(query: str, named_there: str) -> None:
    with pytest.raises(AddressError, match=named_there) as caught:
        open_simulated(parse_address(f"simulated:?{query}"))
    assert "\n" not in str(caught.value)


KEYS = st.sampled_from(
    ["cylinders", "order", "angles", "lines", "fault", "knots", "inputs", "rate", "bits", "dtype", "seed"]
)
VALUES = st.one_of(
    st.text("0123456789-,.:eknaifulpysco=", max_size=12), st.sampled_from(["glitch,value=", "0:1:run", "int8", "1e999"])
)


@given(pairs=st.lists(st.tuples(KEYS, VALUES), max_size=4))
@example(pairs=[("knots", "0:nan:run")])
@example(pairs=[("fault", "glitch,duration_s=nan")])
@example(pairs=[("fault", "glitch,start_s=nan")])
@example(pairs=[("fault", "no-call,cylinder=1,value=nan")])
@example(pairs=[("dtype", "int8"), ("bits", "9")])
@settings(max_examples=150)
def test_any_query_either_opens_or_is_one_line(pairs: list[tuple[str, str]]) -> None:
    query = "&".join(f"{key}={value}" for key, value in pairs)
    message = ""
    try:
        open_simulated(parse_address(f"simulated:?{query}&pace=0")).open()
    except AddressError as error:
        message = str(error)
    assert "\n" not in message
