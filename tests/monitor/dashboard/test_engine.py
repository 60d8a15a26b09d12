from dataclasses import replace

import pytest

from monitor.dashboard.engine import engine_word
from monitor.flags import Flag, Kind, Severity
from monitor.snapshot import LevelView
from tests.monitor.dashboard.pictures import snapshot

FEED, LINE = (LevelView("in1", "supply", "", 12.6), LevelView("in3", "acknowledgement", "", 5.0))
OFF, LOW = (LevelView("in1", "supply", "", 0.1), LevelView("in3", "acknowledgement", "", 0.0))
UNREAD = LevelView("in1", "supply", "", None)


@pytest.mark.parametrize(
    ("levels", "word"),
    [
        ((FEED,), "key on"),
        ((LINE,), "key on"),
        ((UNREAD, LINE), "key on"),
        ((OFF, LINE), "stopped"),
        ((OFF, LOW), "stopped"),
        ((UNREAD,), "stopped"),
        ((), "stopped"),
    ],
)
def test_key_on_is_told_by_the_feed_or_else_by_the_line(levels: tuple[LevelView, ...], word: str) -> None:
    assert engine_word(snapshot(state="stopped", rpm=None, levels=levels)) == word


@pytest.mark.parametrize("word", ["cranking", "running"])
def test_an_engine_that_turns_is_said_to_whatever_the_feed_is(word: str) -> None:
    assert engine_word(snapshot(state=word, levels=(OFF,))) == word


@pytest.mark.parametrize(
    ("lasts_s", "level", "word"),
    [
        (1.0, FEED, "overrun"),
        (1.0, UNREAD, "overrun"),
        (1.0, OFF, "stopped"),
        (6.0, FEED, "key on"),
        (6.0, OFF, "stopped"),
    ],
)
def test_a_cut_is_an_overrun_for_some_seconds_and_a_stop_after_that(
    lasts_s: float, level: LevelView, word: str
) -> None:
    now = snapshot(state="cut", rpm=None, levels=(level,))
    cut = Flag(1, Kind.ALL_CUT, Severity.INFO, None, None, now.time_s - lasts_s, None, 1, "")
    assert engine_word(replace(now, flags=(cut,))) == word


def test_a_cut_whose_flag_is_long_forgotten_is_a_stop() -> None:
    assert engine_word(snapshot(state="cut", rpm=None, flags=())) == "key on"


def test_before_the_first_sample_nothing_is_known_of_the_engine() -> None:
    assert engine_word(snapshot(state="unknown", rpm=None, time_s=0.0, levels=(UNREAD,))) == "unknown"
