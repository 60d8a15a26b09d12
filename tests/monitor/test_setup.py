"""Set-up files: what the good ones mean, and that each bad one is refused in one line that names file and key."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.block import ChannelInfo, StreamInfo
from acquire.errors import SetupError
from monitor.setup import Channel, Limits, Role, Setup, channel_for, load_setup, parse_setup

GOOD = """\
[vehicle]
label = "delivery van, bay 2"

[engine]
cylinders = 6
firing_order = [1, 4, 2, 5, 3, 6]
sparks_per_cycle = 1

[[channel]]
input = "in1"
role = "supply"
scale = 10.0

[[channel]]
input = "in2"
role = "control"
cylinder = 1

[[channel]]
input = "in3"
role = "acknowledgement"

[limits]
supply_sag_v = 2
"""


def refusal(text: str) -> str:
    """Give the one line with which a set-up is refused."""
    with pytest.raises(SetupError) as caught:
        parse_setup(text, "van.toml")
    return str(caught.value)


def test_a_good_file_is_read_as_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "van.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    setup = load_setup(path)
    assert setup.name == str(path)
    assert setup.text == GOOD
    assert setup.vehicle.label == "delivery van, bay 2"
    assert setup.engine.firing_order == (1, 4, 2, 5, 3, 6)
    assert setup.engine.turn_angles_deg == (0.0, 120.0, 240.0, 360.0, 480.0, 600.0)
    assert setup.channel[0] == Channel(input="in1", role=Role.SUPPLY, scale=10.0)
    assert setup.answering(setup.channel[2]) == (1, 2, 3, 4, 5, 6)
    assert setup.limits == Limits(supply_sag_v=2.0)


def test_uneven_angles_and_two_strokes_give_their_own_turns() -> None:
    angles = "firing_angles_deg = [0, 150, 240, 390, 480, 630]\n[[channel]]"
    uneven = parse_setup(GOOD.replace("[[channel]]", angles, 1), "van.toml")
    assert uneven.engine.turn_angles_deg == (0.0, 150.0, 240.0, 390.0, 480.0, 630.0)
    two_stroke = parse_setup(GOOD.replace("sparks_per_cycle = 1", "strokes = 2"), "van.toml")
    assert two_stroke.engine.cycle_deg == 360.0
    assert two_stroke.engine.turn_angles_deg == (0.0, 60.0, 120.0, 180.0, 240.0, 300.0)


def test_two_acknowledgement_lines_share_the_cylinders_between_them() -> None:
    second = '\n[[channel]]\ninput = "in4"\nrole = "acknowledgement"\ncylinders = [4, 5, 6]\n'
    first = GOOD.replace('role = "acknowledgement"', 'role = "acknowledgement"\ncylinders = [1, 2, 3]')
    channels = parse_setup(first + second, "van.toml").channel
    assert [one.cylinders for one in channels if one.role is Role.ACKNOWLEDGEMENT] == [(1, 2, 3), (4, 5, 6)]


def test_every_limit_has_a_reason_and_a_default() -> None:
    for name, field in Limits.model_fields.items():
        assert field.description, name
        assert not field.is_required(), name


BEFORE_CHANNELS = "sparks_per_cycle = 1\n"
LIMIT = "supply_sag_v = 2\n"

MALFORMED = [
    # what stands in the good file, what stands there instead, the key that is named, what would be right
    ("[engine]", "[engin]", "engin", "did you mean engine?"),
    ("[engine]\ncylinders = 6\nfiring_order = [1, 4, 2, 5, 3, 6]\nsparks_per_cycle = 1\n", "", "engine", "[engine]"),
    ("cylinders = 6\n", "", "engine.cylinders", "such as cylinders = 6"),
    ("cylinders = 6\n", "cylinder = 6\n", "engine.cylinder", "did you mean cylinders?"),
    ("cylinders = 6\n", 'cylinders = "6"\n', "engine.cylinders", "valid integer"),
    ("cylinders = 6\n", "cylinders = true\n", "engine.cylinders", "valid integer"),
    ("cylinders = 6\n", "cylinders = 6.0\n", "engine.cylinders", "valid integer"),
    ("cylinders = 6\n", "cylinders = 0\n", "engine.cylinders", "greater than or equal to 1"),
    ("cylinders = 6\n", "cylinders = -6\n", "engine.cylinders", "greater than or equal to 1"),
    ("cylinders = 6\n", "cylinders = 17\n", "engine.cylinders", "less than or equal to 16"),
    ("cylinders = 6\n", f"cylinders = 1{'0' * 400}\n", "engine.cylinders", "less than or equal to 16"),
    ("cylinders = 6\n", f"cylinders = 1{'0' * 5000}\n", "not TOML", "too long"),
    ("cylinders = 6\n", "cylinders = 4\n", "engine.firing_order", "1 to 4 once"),
    ("firing_order = [1, 4, 2, 5, 3, 6]\n", "", "engine.firing_order", "such as firing_order = [1, 4, 2"),
    ("[1, 4, 2, 5, 3, 6]", "[1, 4, 2, 5, 3, 3]", "engine.firing_order", "1 to 6 once"),
    ("[1, 4, 2, 5, 3, 6]", "[1, 4, 2, 5, 3]", "engine.firing_order", "1 to 6 once"),
    ("[1, 4, 2, 5, 3, 6]", "[0, 4, 2, 5, 3, 6]", "engine.firing_order", "1 to 6 once"),
    ("[1, 4, 2, 5, 3, 6]", "[]", "engine.firing_order", "1 to 6 once"),
    ("[1, 4, 2, 5, 3, 6]", '"1-4-2-5-3-6"', "engine.firing_order", "valid list"),
    ("[1, 4, 2, 5, 3, 6]", '[1, "4", 2, 5, 3, 6]', "engine.firing_order[2]", "valid integer"),
    ("sparks_per_cycle = 1", "sparks_per_cycle = 3", "engine.sparks_per_cycle", "less than or equal to 2"),
    ("sparks_per_cycle = 1", "sparks_per_cycle = 2\nstrokes = 2", "engine.sparks_per_cycle", "four-stroke"),
    ("sparks_per_cycle = 1", "strokes = 3", "engine.strokes", "multiple of 2"),
    (BEFORE_CHANNELS, "firing_angles_deg = [0, 150]\n", "engine.firing_angles_deg", "one each"),
    (BEFORE_CHANNELS, "firing_angles_deg = [0, 240, 150, 390, 480, 630]\n", "engine.firing_angles_deg", "ascend"),
    (BEFORE_CHANNELS, "firing_angles_deg = [0, 150, 240, 390, 480, 720]\n", "engine.firing_angles_deg", "below 720"),
    (BEFORE_CHANNELS, "firing_angles_deg = [-1, 150, 240, 390, 480, 630]\n", "engine.firing_angles_deg", "from 0"),
    (BEFORE_CHANNELS, "firing_angles_deg = [0, nan, 240, 390, 480, 630]\n", "engine.firing_angles_deg[2]", "finite"),
    (
        BEFORE_CHANNELS,
        "sparks_per_cycle = 2\nfiring_angles_deg = [0, 150, 240, 390, 480, 630]\n",
        "engine.firing_angles_deg",
        "360 degrees later",
    ),
    ('input = "in1"\n', "", "channel[1].input", 'such as input = "in1"'),
    ('input = "in1"', "input = 1", "channel[1].input", "valid string"),
    ('input = "in1"', 'input = "  "', "channel[1].input", "at least 1 character"),
    ('input = "in1"', 'input = "IN3"', "channel[3].input", "channel[1] already"),
    ('role = "supply"\n', "", "channel[1].role", 'such as role = "control"'),
    ('role = "supply"', 'role = "feed"', "channel[1].role", "'supply', 'battery'"),
    ('role = "supply"', 'role = "supply"\ncylinder = 1', "channel[1].cylinder", "leave it out"),
    ('role = "supply"', 'role = "supply"\ncylinders = [1]', "channel[1].cylinders", "only an acknowledgement line"),
    ('role = "supply"', 'role = "injector"', "channel[1].cylinder", "which cylinder this injector"),
    ("scale = 10.0", "scale = 0", "channel[1].scale", "use 1.0"),
    ("scale = 10.0", "scale = inf", "channel[1].scale", "finite"),
    ("scale = 10.0", f"scale = 1{'0' * 400}", "channel[1].scale", "valid number"),
    ("scale = 10.0", 'scale = "10:1"', "channel[1].scale", "valid number"),
    ("scale = 10.0", "offset = 1", "channel[1].offset", "did you mean offset_v?"),
    ("scale = 10.0", "offset_v = 1e9", "channel[1].offset_v", "less than or equal to 1000000"),
    ("cylinder = 1\n", "", "channel[2].cylinder", "which cylinder this control"),
    ("cylinder = 1\n", "cylinder = 7\n", "channel[2].cylinder", "this engine has 1 to 6"),
    ("cylinder = 1\n", "cylinder = 1.5\n", "channel[2].cylinder", "valid integer"),
    ("cylinder = 1\n", "cylinders = [1]\n", "channel[2].cylinder", "which cylinder this control"),
    ('"acknowledgement"', '"acknowledgement"\ncylinder = 1', "channel[3].cylinder", "cylinders = [1]"),
    ('"acknowledgement"', '"acknowledgement"\ncylinders = []', "channel[3].cylinders", "at least 1 item"),
    ('"acknowledgement"', '"acknowledgement"\ncylinders = [1, 1]', "channel[3].cylinders", "name each once"),
    ('"acknowledgement"', '"acknowledgement"\ncylinders = [1, 9]', "channel[3].cylinders", "no cylinder 9"),
    ('"acknowledgement"', '"control"\ncylinder = 1', "channel[3].cylinder", "channel[2] already"),
    ('role = "supply"', 'role = "acknowledgement"', "channel[3].cylinders", "channel[1] already"),
    (
        'role = "control"\ncylinder = 1\n\n[[channel]]\ninput = "in3"\nrole = "acknowledgement"',
        'role = "battery"',
        "channel",
        "connect at least one",
    ),
    (LIMIT, "supply_sag = 2\n", "limits.supply_sag", "did you mean supply_sag_v?"),
    (LIMIT, "colour = 2\n", "limits.colour", "known here: supply_sag_v"),
    (LIMIT, "supply_sag_v = -1\n", "limits.supply_sag_v", "greater than or equal to 0"),
    (LIMIT, "supply_sag_v = nan\n", "limits.supply_sag_v", "finite"),
    (LIMIT, "supply_dropout_ms = 0\n", "limits.supply_dropout_ms", "greater than 0"),
    (LIMIT, "supply_low_running_v = 9\n", "limits.supply_low_cranking_v", "supply_low_running_v = 9"),
    (LIMIT, "control_low_v = 4.0\n", "limits.control_low_v", "not below control_high_v"),
    (LIMIT, "dwell_band = 1.0\n", "limits.dwell_band", "less than 1"),
    (LIMIT, 'acknowledgement_timing = "early"\n', "limits.acknowledgement_timing", "'during-charge'"),
    (LIMIT, "missing_acknowledgements = 0\n", "limits.missing_acknowledgements", "greater than or equal to 1"),
    (LIMIT, "missing_commands = 2026-11-25\n", "limits.missing_commands", "valid integer"),
    ("[vehicle]\n", "limits = 3\n[vehicle]\n", "not TOML", "line"),
    ('label = "delivery van, bay 2"', "label = [1]", "vehicle.label", "valid string"),
    ('label = "delivery van, bay 2"', 'label = "van', "not TOML", "line 2"),
    ("[vehicle]", "[vehicle", "not TOML", "line 1"),
    ("[vehicle]\n", f"deep = {'[' * 5000}\n[vehicle]\n", "not TOML", "too long"),
    ("[vehicle]\n", '"two\\nlines" = 1\n[vehicle]\n', "two lines", "known here: vehicle, engine, channel, limits"),
]


@pytest.mark.parametrize(("old", "new", "key", "right"), MALFORMED)
def test_what_cannot_be_meant_is_one_line_naming_file_key_and_what_would_be_right(
    old: str, new: str, key: str, right: str
) -> None:
    assert GOOD.count(old) >= 1
    line = refusal(GOOD.replace(old, new, 1))
    assert line.startswith("van.toml: ")
    assert key in line.partition(": ")[2]
    assert right in line
    assert len(line.splitlines()) == 1
    assert len(line) < 500


def test_the_table_of_a_key_that_is_wrong_comes_before_any_other_text() -> None:
    line = refusal(GOOD.replace("cylinder = 1\n", "cylinder = 7\n"))
    assert line == 'van.toml: channel[2].cylinder (input "in2"): there is no cylinder 7; this engine has 1 to 6'


def test_channels_or_limits_of_the_wrong_shape_are_refused() -> None:
    engine = GOOD[GOOD.index("[engine]") : GOOD.index("[[channel]]")]
    assert "van.toml: channel: " in refusal(engine + "[channel]\ninput = 'in1'\n")
    assert "van.toml: channel: missing; a set-up needs [[channel]]" in refusal(engine)
    assert "van.toml: channel: [] is not right" in refusal("channel = []\n" + engine)
    assert "van.toml: channel[1]: 3 is not right" in refusal("channel = [3]\n" + engine)
    assert "van.toml: limits: 3 is not right: it should be a valid table" in refusal(
        "limits = 3\n" + GOOD.split("[limits]")[0]
    )


def test_a_file_that_cannot_be_read_is_one_line_with_its_path(tmp_path: Path) -> None:
    latin = tmp_path / "latin.toml"
    latin.write_bytes(b"[vehicle]\nlabel = 'caf\xe9'\n")
    large = tmp_path / "large.toml"
    large.write_bytes(b"#" * (2 << 20))
    cases = {
        tmp_path / "none.toml": "No such file",
        tmp_path: "directory",
        latin: "line 2 is not UTF-8",
        large: "larger",
    }
    for path, text in cases.items():
        with pytest.raises(SetupError) as caught:
            load_setup(path)
        assert str(caught.value).startswith(f"{path}: ")
        assert text in str(caught.value)


def stream(*channels: tuple[str, str]) -> StreamInfo:
    infos = tuple(ChannelInfo(name, 0.001, label=label) for name, label in channels)
    return StreamInfo("road.csv", 50000.0, infos, np.dtype(np.int16))


def test_inputs_are_found_by_name_or_label_whatever_the_capitals() -> None:
    setup = parse_setup(GOOD.replace('"in1"', '"Coil Feed [V]"'), "van.toml")
    wiring = channel_for(setup, stream(("in2", ""), ("IN3", "x"), ("in4", " coil feed [v] ")))
    assert [(wire.channel.role, wire.row) for wire in wiring] == [
        (Role.SUPPLY, 2),
        (Role.CONTROL, 0),
        (Role.ACKNOWLEDGEMENT, 1),
    ]


def test_a_column_headed_like_another_input_is_the_one_that_is_meant() -> None:
    setup = parse_setup(GOOD.replace('"in1"', '"in4"'), "van.toml")
    wiring = channel_for(setup, stream(("in1", "in2"), ("in2", "in3"), ("in3", "in4")))
    assert [wire.row for wire in wiring] == [2, 0, 1]


@pytest.mark.parametrize(
    ("channels", "right"),
    [
        ([("in1", "feed"), ("in2", "")], 'channel[3].input: "in3" is not in road.csv; it has in1 "feed", in2'),
        ([], 'channel[1].input: "in1" is not in road.csv; it has no inputs'),
        ([("in1", ""), ("in2", ""), ("in5", "in3"), ("in6", "IN3")], 'channel[3].input: "in3" stands for several'),
    ],
)
def test_an_input_the_source_does_not_have_is_one_line_naming_those_it_has(
    channels: list[tuple[str, str]], right: str
) -> None:
    with pytest.raises(SetupError) as caught:
        channel_for(parse_setup(GOOD, "van.toml"), stream(*channels))
    assert str(caught.value).startswith(f"van.toml: {right}")


def test_one_input_under_two_names_is_refused() -> None:
    setup = parse_setup(GOOD.replace('"in3"', '"answer"'), "van.toml")
    with pytest.raises(SetupError, match='"answer" is the same input as "in2"'):
        channel_for(setup, stream(("in1", ""), ("in2", "answer")))


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.sampled_from(["in1", "control"]),
    lambda inner: st.lists(inner, max_size=6) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)
KEYS = sorted({line.split(" =")[0] for line in GOOD.splitlines() if " =" in line} | {"cylinders", "firing_angles_deg"})


def toml_of(value: object) -> str:
    if isinstance(value, dict):
        return (
            "{" + ", ".join(f'"{key.encode("unicode_escape").hex()}" = {toml_of(v)}' for key, v in value.items()) + "}"
        )
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_of, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return '"' + "".join(f"\\U{ord(c):08x}" for c in value if not 0xD800 <= ord(c) <= 0xDFFF) + '"'
    return "[]" if value is None else repr(value)


@given(st.sampled_from(KEYS), VALUES)
def test_any_value_of_any_key_is_read_or_refused_in_one_line(key: str, value: object) -> None:
    lines = [f"{key} = {toml_of(value)}" if line.startswith(f"{key} =") else line for line in GOOD.splitlines()]
    text = "\n".join(lines)
    tomllib.loads(text)
    try:
        outcome = parse_setup(text, "van.toml").name
    except SetupError as error:
        outcome = str(error)
    assert outcome.startswith("van.toml")
    assert len(outcome.splitlines()) == 1


@given(st.text(), st.integers(0, len(GOOD)), st.integers(0, 20))
def test_any_text_is_read_or_refused_in_one_line(text: str, at: int, gone: int) -> None:
    for whole in (text, GOOD[:at] + text + GOOD[at + gone :]):
        try:
            outcome = parse_setup(whole, "van.toml").name
        except SetupError as error:
            outcome = str(error)
        assert outcome.startswith("van.toml")
        assert len(outcome.splitlines()) == 1


def test_a_set_up_is_never_changed_once_read() -> None:
    setup: Setup = parse_setup(GOOD, "van.toml")
    with pytest.raises(ValueError, match="frozen"):
        setup.engine.cylinders = 4
