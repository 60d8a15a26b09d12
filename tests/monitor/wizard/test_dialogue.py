"""Questions, their defaults, help and the way back, without a terminal."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from hypothesis import given as given_that
from hypothesis import strategies as st

from monitor.setup import Channel, Engine, Role
from monitor.wizard import answers as typed
from monitor.wizard.answers import Lead
from monitor.wizard.dialogue import Answers, Misunderstood, Question, converse
from monitor.wizard.engine_questions import engine_of, engine_questions
from monitor.wizard.orders import LAYOUTS
from monitor.wizard.wire_questions import Bench, channels, wire_questions

HOUSE = Path(__file__).parents[3]


@pytest.fixture
def types(monkeypatch: pytest.MonkeyPatch) -> Any:  # noqa: ANN401
    """Let somebody type these lines, one a question; Ctrl-C at the end of them."""

    def types(*lines: str) -> list[str]:
        left, shown = list(lines), []

        def prompt(text: str, *_: object, **__: object) -> str:
            shown.append(text)
            if not left:
                raise click.Abort
            return left.pop(0)

        monkeypatch.setattr(click, "prompt", prompt)
        return shown

    return types


def _whole(given: Answers, bench: Bench) -> Iterator[Question]:
    yield from engine_questions(given, None)
    yield from wire_questions(given, bench, engine_of(given))


def answered() -> tuple[Engine, tuple[Channel, ...]]:
    given: Answers = {}
    bench = Bench()
    converse(lambda known: _whole(known, bench), given, asks=True)
    return engine_of(given), channels(given, bench)


def test_enter_alone_gives_the_least_hookup_of_a_four_in_line(types: Any) -> None:  # noqa: ANN401
    types(*[""] * 40)
    engine, wires = answered()
    assert engine.firing_order == (1, 3, 4, 2)
    assert [(one.input, one.role, one.scale) for one in wires] == [
        ("in1", Role.SUPPLY, 1.0), ("in2", Role.CONTROL, 1.0), ("in3", Role.ACKNOWLEDGEMENT, 1.0),
    ]  # fmt: skip
    assert wires[1].cylinder == 1
    assert wires[2].cylinders == (1, 2, 3, 4)


def test_help_is_shown_and_a_wrong_answer_asked_again_with_what_is_right(
    types: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    types("", "?", "v9", "V6", "1-4-2", "142536", *[""] * 20)
    engine, _ = answered()
    told = capsys.readouterr().err
    assert engine.firing_order == (1, 4, 2, 5, 3, 6)
    assert "Enter takes what stands in brackets" in told
    assert '"v9" is not in the list; type a number from 1 to 10' in told
    assert "must name each of 1-2-3-4-5-6 once" in told


def test_back_forgets_the_answer_before_and_all_that_hung_on_it(types: Any) -> None:  # noqa: ANN401
    types("", "V6", "2", "back", "back", "other", "2", "", *[""] * 20)
    engine, _ = answered()
    assert engine.firing_order == (1, 2)


def test_back_at_the_first_question_stays_there(types: Any) -> None:  # noqa: ANN401
    shown = types("back", "van", *[""] * 30)
    answered()
    assert shown[0] == shown[1]


def test_waste_spark_and_uneven_angles_are_refused_on_the_spot_where_they_cannot_be(
    types: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    types("", "V6", "2", "y", "4", "0-150", "0-150-240-390-480-630", "y", "n", *[""] * 20)
    engine, _ = answered()
    told = " ".join(capsys.readouterr().err.split())
    assert list(engine.firing_angles_deg or ()) == [0, 150, 240, 390, 480, 630]
    assert engine.sparks_per_cycle == 1
    assert "2 angles for 6 cylinders" in told
    assert "360 degrees later" in told


def test_a_cylinder_has_one_control_and_one_line(types: Any, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN401
    lines = [
        "",
        "",
        "",
        "",
        "",
        "control 1",
        "",
        "control 1",
        "control 5",
        "control",
        "1",
        "3",
        "",
        "answers",
        "1-3",
        "",
    ]
    types(*lines, "answers 3-4", "answers", "", "", "done")
    _, wires = answered()
    told = capsys.readouterr().err
    assert [one.cylinder for one in wires[:2]] == [1, 3]
    assert [one.cylinders for one in wires[2:]] == [(1, 3), (2, 4)]
    assert told.count("cylinder 1 has its control on another input already") == 2
    assert "this engine has cylinders 1 to 4" in told
    assert "cylinder 3 has its answers on another input already" in told


def test_it_cannot_be_done_without_a_control_or_an_answer_line(
    types: Any,  # noqa: ANN401
    capsys: pytest.CaptureFixture[str],
) -> None:
    types(*[""] * 5, "feed", "", "done", "answers", "", "", "done")
    _, wires = answered()
    assert [one.role for one in wires] == [Role.SUPPLY, Role.ACKNOWLEDGEMENT]
    assert "one of them at least must be connected" in capsys.readouterr().err


def test_every_question_explains_itself(types: Any, capsys: pytest.CaptureFixture[str]) -> None:  # noqa: ANN401
    types(*["?", ""] * 40)
    answered()
    assert capsys.readouterr().err.count("Enter takes") >= 10


def test_the_orders_offered_are_of_their_engine_and_are_no_recipe() -> None:
    for layout in LAYOUTS:
        assert all(sorted(order) == list(range(1, layout.cylinders + 1)) for order in layout.orders)


@pytest.mark.parametrize(
    ("text", "lead"),
    [
        ("feed", Lead(Role.SUPPLY)),
        ("control 3", Lead(Role.CONTROL, (3,))),
        ("CONTROL:3", Lead(Role.CONTROL, (3,))),
        ("ans 1-4-6-7", Lead(Role.ACKNOWLEDGEMENT, (1, 4, 6, 7))),
        ("inj 2", Lead(Role.INJECTOR, (2,))),
        ("-", Lead(None)),
        ("none", Lead(None)),
    ],
)
def test_a_wire_is_understood_by_its_word_or_the_beginning_of_it(text: str, lead: Lead) -> None:
    assert typed.lead(text) == lead


@pytest.mark.parametrize("text", ["", "c", "7", "wire", "control x", "feed 1 2 three"])
def test_what_is_no_wire_or_could_be_two_is_refused(text: str) -> None:
    with pytest.raises(Misunderstood):
        typed.lead(text)


@pytest.mark.parametrize(
    ("text", "value"), [("1", 1), ("10:1", 10), ("x10", 10), ("1.68", 1.68), ("1,68", 1.68), ("-1", -1)]
)
def test_an_attenuation_is_understood_as_it_is_printed_on_the_part(text: str, value: float) -> None:
    assert typed.scale(text) == value


@pytest.mark.parametrize("text", ["0", "1:10", "nan", "inf", "1e9", "ten", "", "1" * 400])
def test_an_attenuation_that_cannot_be_is_refused(text: str) -> None:
    with pytest.raises(Misunderstood):
        typed.scale(text)


def test_a_wire_of_the_command_line_may_hold_an_equals_sign_in_its_input() -> None:
    assert typed.wire("a=b=control:2:x10") == ("a=b", Lead(Role.CONTROL, (2,), 10.0))


@given_that(st.text(max_size=300))
def test_whatever_is_typed_is_understood_or_refused_in_one_short_line(text: str) -> None:
    readers: tuple[Callable[[str], object], ...] = (
        typed.label, typed.yes_or_no, typed.numbers, typed.cylinder_count, typed.angles, typed.scale, typed.lead,
        typed.wire, typed.firing_order(4), typed.one_of(LAYOUTS),
    )  # fmt: skip
    refused = [words for read in readers if (words := _refusal(read, text)) is not None]
    assert all(words.isprintable() and len(words) < 200 for words in refused)


def _refusal(read: Callable[[str], object], text: str) -> str | None:
    try:
        read(text)
    except Misunderstood as error:
        return str(error)
    return None
