"""The drawing and the file."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from acquire.errors import SetupError
from monitor.setup import Channel, Engine, Role, parse_setup
from monitor.wizard.drawing import draw
from monitor.wizard.toml_text import setup_text
from monitor.wizard.writing import refuse_early, write_whole

FOUR = Engine(cylinders=4, firing_order=(1, 3, 4, 2))
THREE = (
    Channel(input="in1", role=Role.SUPPLY, scale=10.0),
    Channel(input="in2", role=Role.CONTROL, cylinder=1),
    Channel(input="in3", role=Role.ACKNOWLEDGEMENT, cylinders=(1, 2, 3, 4)),
)
names = st.text(min_size=1, max_size=40).filter(lambda text: text.strip())


def test_each_lead_is_drawn_from_its_input_to_its_pin() -> None:
    assert draw(FOUR, THREE).splitlines() == [
        "  instrument                    the engine, firing 1-3-4-2",
        "  ┌────────────┐                ┌─────────────────────────────────────────┐",
        "  │ in1        ├─────[10:1]─────┤ feed pin of any one coil                │",
        "  │ in2        ├────────────────┤ control pin of coil 1                   │",
        "  │ in3        ├────────────────┤ answer pin of any one coil              │",
        "  │ its ground ├────────────────┤ ground pin of that coil (one lead only) │",
        "  └────────────┘                └─────────────────────────────────────────┘",
    ]


def test_where_a_ground_pin_is_measured_the_instrument_is_grounded_at_the_battery() -> None:
    """WIRING.md: to see the pin rise, ground the board at battery negative and give the pin an input of its own."""
    assert "battery, negative post" in draw(FOUR, (*THREE, Channel(input="in4", role=Role.GROUND)))


def test_a_clamp_has_amperes_per_volt_and_no_attenuator() -> None:
    wires = (*THREE, Channel(input="in4", role=Role.CURRENT, scale=100.0))
    assert "[100 A/V]" in draw(FOUR, wires)
    assert "scale = 100.0  # amperes per volt" in setup_text("", FOUR, wires, {})


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp437", "no-such-encoding"])
def test_the_drawing_can_be_written_in_any_encoding(encoding: str) -> None:
    drawn = draw(FOUR, THREE, encoding)
    assert "in1" in drawn
    drawn.encode(encoding if encoding != "no-such-encoding" else "ascii")


@given(name=names, scale=st.floats(1e-3, 1e4), order=st.permutations(range(1, 17)))
def test_no_line_of_the_drawing_is_wider_than_80_columns(name: str, scale: float, order: list[int]) -> None:
    engine = Engine(cylinders=16, firing_order=tuple(order))
    wires = (
        Channel(input=name, role=Role.ACKNOWLEDGEMENT, cylinders=tuple(range(1, 16)), scale=scale),
        *(
            Channel(input=f"{role}{name}", role=role, cylinder=16)
            for role in (Role.CONTROL, Role.INJECTOR, Role.CURRENT)
        ),
    )
    lines = draw(engine, wires).split("\n")
    assert len(lines) == 8
    assert max(map(cell_len, lines)) <= 80


engines = st.integers(1, 16).flatmap(
    lambda cylinders: st.builds(
        Engine,
        cylinders=st.just(cylinders),
        firing_order=st.permutations(range(1, cylinders + 1)).map(tuple),
        sparks_per_cycle=st.just(1) if cylinders % 2 else st.sampled_from([1, 2]),
        firing_angles_deg=st.none()
        if cylinders < 2
        else st.sampled_from([None, tuple(360.0 * 2 * n / cylinders for n in range(cylinders))]),
    )
)


@given(
    engine=engines,
    label=st.text(st.characters(exclude_categories=["Cs"]), max_size=100),
    name=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40).filter(lambda text: text.strip()),
    scale=st.floats(-1e4, 1e4).filter(lambda value: value != 0),
)
def test_what_was_described_is_what_the_file_says(engine: Engine, label: str, name: str, scale: float) -> None:
    wires = (
        Channel(input=name, role=Role.CONTROL, cylinder=1, scale=scale),
        Channel(input=f"{name.strip()} 2", role=Role.ACKNOWLEDGEMENT, cylinders=(engine.cylinders,)),
        Channel(input=f"{name.strip()} 3", role=Role.SUPPLY),
    )
    found = parse_setup(setup_text(label, engine, wires, {wires[0].input: "column A"}), "made.toml")
    assert (found.engine, found.channel, found.vehicle.label) == (engine, wires, label)
    assert found.limits == type(found.limits)()


def test_every_key_of_a_wire_and_of_the_engine_has_a_word_beside_it() -> None:
    text = setup_text("van", FOUR, THREE, {"in1": "feed"})
    bare = [line for line in text.splitlines() if "=" in line and "#" not in line]
    assert {line.split(" =")[0] for line in bare} <= {"input", "cylinders", "cylinder"}


def test_the_limits_shown_for_taking_in_are_the_defaults() -> None:
    text = setup_text("", FOUR, THREE, {})
    shown = (
        text.replace("# [limits]", "[limits]").replace("# supply_sag_v", "supply_sag_v").replace("# glitch", "glitch")
    )
    assert parse_setup(shown, "made.toml").limits == type(parse_setup(text, "made.toml").limits)()


def test_a_file_that_is_there_is_not_replaced_unasked(tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    file.write_text("mine", encoding="utf-8")
    with pytest.raises(SetupError, match="is there already"):
        write_whole(file, "new", replaces=False)
    assert file.read_text(encoding="utf-8") == "mine"
    write_whole(file, "new", replaces=True)
    assert file.read_text(encoding="utf-8") == "new"
    assert list(tmp_path.iterdir()) == [file]


def test_what_hinders_writing_is_said_before_anything_is_asked(tmp_path: Path) -> None:
    with pytest.raises(SetupError, match="make it first"):
        refuse_early(tmp_path / "none" / "van.toml", replaces=False)
    with pytest.raises(SetupError, match="is a folder"):
        refuse_early(tmp_path, replaces=True)
