import io
import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from monitor.check.as_json import as_dict
from monitor.check.report import Report, report
from monitor.check.tell import print_report
from monitor.check.verdict import Question, Verdict
from monitor.check.wire import name_of
from tests.monitor.check.wires import check, counts_of, hum, info_of, measured_of, said_of, sound

HOSTILE = "[bold red]\x1b[2J\u202e点火" + "x" * 300


def told_text(told: Report, width: int = 100, *, on_terminal: bool = False) -> str:
    written = io.StringIO()
    print_report(told, Console(file=written, width=width, highlight=False, force_terminal=on_terminal))
    return written.getvalue()


def named(text: str) -> Report:
    """Wrong wires on inputs and of a source of this name."""
    wires = sound("supply", "control", "acknowledgement", supply=4.95, acknowledgement=12.5)
    measured = measured_of(info_of(wires), counts_of(wires.values()))
    readings = []
    for one in measured.readings:
        channel = one.lead.channel.model_copy(update={"input": text})
        readings.append(replace(one, lead=replace(one.lead, channel=channel)))
    return report(replace(measured, source=text, readings=tuple(readings)))


def test_every_wire_stands_with_reading_limit_and_verdict_and_the_last_line_says_ready() -> None:
    lines = told_text(check(sound("supply", "battery", "control", "acknowledgement"))).splitlines()
    assert lines[1].startswith("Key on, engine off: 1.00 s at 20 kS/s")
    (row,) = [line for line in lines if line.startswith("line (in4)")]
    assert row.split() == ["line", "(in4)", "level", "4.95", "V", "4.5", "to", "5.5", "V", "ok"]
    (feed,) = [line for line in lines if line.startswith("feed (in1)")]
    assert "12.10 to 13.10 V, battery 12.60 V" in feed
    assert not any("Not as it should be" in line for line in lines)
    assert lines[-1] == "READY"


def test_what_is_wrong_stands_in_capitals_with_what_to_do_and_the_cautions() -> None:
    text = told_text(check(sound("supply", "acknowledgement", acknowledgement=4.2)))
    assert "WRONG" in text
    assert "line (in2), level: rests too low" in text
    assert "next: unplug the coils one by one" in " ".join(text.split())
    assert "tens of kV" in text
    assert "maker's instructions" in " ".join(text.split())
    assert text.splitlines()[-1] == "NOT READY: line (in2)"


def test_what_is_said_of_several_wires_is_said_once() -> None:
    wires = {role: volts + hum(0.8) for role, volts in sound("supply", "control", "acknowledgement").items()}
    text = " ".join(told_text(check(wires)).split())
    assert text.count("mains hum, 50 Hz") == 1
    assert "feed (in1), control 1 (in2), line (in3), noise: mains hum" in text


def test_what_is_not_connected_stands_with_its_cost() -> None:
    text = " ".join(told_text(check(sound("acknowledgement"))).split())
    assert "battery: a weak battery and a feed that loses volts look the same" in text


def test_doubts_are_told_and_do_not_hold_up() -> None:
    text = told_text(check(sound("supply", "acknowledgement", supply=11.6)))
    assert text.splitlines()[-1] == "READY, with doubts"


def test_on_a_pipe_and_without_colour_the_same_words_stand(monkeypatch: pytest.MonkeyPatch) -> None:
    told = check(sound("supply", "acknowledgement", acknowledgement=4.2))
    assert "\x1b" not in told_text(told)
    monkeypatch.setenv("NO_COLOR", "1")
    on_screen = told_text(told, on_terminal=True)
    assert not any(f"\x1b[{code}" in on_screen for code in ("3", "4", "9"))
    for code in ("1m", "0m"):
        on_screen = on_screen.replace(f"\x1b[{code}", "")
    assert on_screen == told_text(told)


@pytest.mark.parametrize("width", [40, 80, 100, 200])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    for told in (named(HOSTILE), check(sound(supply=9.0, acknowledgement=0.0))):
        assert max(map(cell_len, told_text(told, width).splitlines())) <= width


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=200))
def test_foreign_text_stands_as_text_and_moves_nothing(text: str) -> None:
    told = named(text)
    shown = told_text(told)
    assert shown.isascii() or all(c == "\n" or c.isprintable() for c in shown)
    assert "\x1b" not in shown
    assert max(map(cell_len, shown.splitlines())) <= 100
    assert sum("level" in line and "5.5" in line for line in shown.splitlines()) == 1


@settings(max_examples=60)
@given(st.text(min_size=1, max_size=200))
def test_the_object_is_json_whatever_the_inputs_are_called(text: str) -> None:
    told = named(text)
    read = json.loads(json.dumps(as_dict(told), allow_nan=False))
    assert read == as_dict(told)
    assert {one["input"] for one in read["lines"]} == {text, None}


def test_the_object_says_what_the_table_says() -> None:
    told = check(sound("supply", "control", "acknowledgement", acknowledgement=4.2))
    said = as_dict(told)
    assert (said["schema"], said["ready"], said["verdict"]) == ("coilcall.check/1", False, "not ready")
    (line,) = [one for one in said["lines"] if one["role"] == "acknowledgement" and one["question"] == "level"]
    mine = said_of(told, "acknowledgement", Question.LEVEL)
    assert line == {
        "input": "in3",
        "role": "acknowledgement",
        "cylinder": None,
        "question": "level",
        "reading": "4.20 V",
        "value": mine.value,
        "unit": "V",
        "low": 4.5,
        "high": 5.5,
        "verdict": "wrong",
        "meaning": mine.said.meaning,
        "next": mine.said.action,
    }
    assert said["not_connected"][0] == {"role": "control", "cylinders": [2, 3, 4], "cost": told.missing[0].cost}
    assert {one["verdict"] for one in said["lines"]} <= {verdict.value for verdict in Verdict}


def test_a_name_is_short_and_says_wire_cylinder_and_input() -> None:
    told = check(sound("control", "acknowledgement"))
    leads = [one.lead for one in told.judgements if one.lead is not None]
    assert name_of(leads[0]) == "control 1 (in1)"
    assert cell_len(name_of(named(HOSTILE).measured.readings[1].lead)) <= len("control 1 ()") + 16
