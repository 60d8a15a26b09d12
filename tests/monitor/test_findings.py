"""The table of rules, held against evidence made by hand."""

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.bands import SPEED_RPM, SUPPLY_V, Bands
from monitor.findings.evidence import Coil, Evidence, Line, Seen, Stop
from monitor.findings.finding import Confidence, Finding
from monitor.findings.match import cylinders
from monitor.findings.patterns import PATTERNS
from monitor.findings.rules import findings, rules
from monitor.flags import Kind, Severity

SOUND = Coil((1,), turns=2000, is_called=True, line="in3", sag_v=0.5)


def coils(*changed: Coil, count: int = 6) -> tuple[Coil, ...]:
    """An engine's coils, all sound but the ones given."""
    by_name = {coil.cylinders: coil for coil in changed}
    every = [replace(SOUND, cylinders=(n,)) for n in range(1, count + 1)]
    return tuple(by_name.get(coil.cylinders, coil) for coil in every)


def coil(number: int, **changes: object) -> Coil:
    return replace(SOUND, cylinders=(number,), **changes)  # type: ignore[arg-type]


def seen(kind: Kind, cylinder: int | None = None, times: int = 5, **changes: object) -> Seen:
    one = Seen(kind, Severity.FAULT, cylinder, None, times, times, 1.0, 9.0, False, "as it was seen")
    return replace(one, **changes)  # type: ignore[arg-type]


def engine(*changed: Coil, flags: tuple[Seen, ...] = (), **changes: object) -> Evidence:
    line = Line("in3", (1, 2, 3, 4, 5, 6))
    return replace(Evidence(coils(*changed), (line,), flags), **changes)  # type: ignore[arg-type]


def first(evidence: Evidence) -> Finding:
    return findings(evidence)[0]


def is_cleared(found: tuple[Finding, ...]) -> bool:
    return any("not the primary side" in finding.suspect for finding in found)


def test_every_rule_has_a_pattern_and_every_pattern_a_rule() -> None:
    assert sorted(rule.pattern for rule in rules()) == sorted(PATTERNS)


def test_every_rule_gives_its_reason_and_says_what_to_measure() -> None:
    for rule in rules():
        assert all(len(text) > 20 for text in (rule.reason, rule.suspect, rule.next)), rule.name
        assert rule.codes in ("", "misfire", "circuit", "control"), rule.name


def test_nothing_observed_leads_to_nothing() -> None:
    assert findings(Evidence(())) == ()
    assert findings(Evidence(tuple(replace(one, turns=0) for one in coils()))) == ()


def test_a_sound_engine_is_cleared_with_the_number_of_turns_and_the_bound_of_the_rule_of_three() -> None:
    """Rule of three: none in n means less than 3/n with 95 % (J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983))."""
    (finding,) = findings(engine())
    assert finding.confidence == "firm"
    assert "every one of 12,000 firings of cylinders 1 to 6 was answered, at least 2,000 of each" in finding.because
    assert "once in 666 turns (0.15%)" in finding.because
    assert "not that the plug sparked" in finding.because
    assert all(word in finding.suspect for word in ("plugs", "secondary", "fuel", "air", "compression"))


@pytest.mark.parametrize(("turns", "said"), [(0, None), (5, None), (59, None), (60, "possible"), (200, "likely")])
def test_few_firings_clear_nobody_and_more_clear_more_firmly(turns: int, said: str | None) -> None:
    found = findings(Evidence(coils(coil(3, turns=turns))))
    assert [finding.confidence for finding in found] == ([said] if said else [])


@pytest.mark.parametrize("kind", [kind for kind in Kind if kind.value.startswith(("supply", "ground", "control"))])
def test_a_fault_of_feed_ground_or_control_clears_nobody_though_every_turn_was_answered(kind: Kind) -> None:
    found = findings(engine(flags=(seen(kind, None if kind in (Kind.SUPPLY_DROPOUT, Kind.SUPPLY_LOW) else 2),)))
    assert found
    assert not is_cleared(found)


def test_information_alone_does_not_keep_an_engine_from_being_cleared() -> None:
    assert is_cleared(findings(engine(flags=(seen(Kind.ALL_CUT, severity=Severity.INFO),))))
    assert is_cleared(findings(engine(flags=(seen(Kind.SUPPLY_LOW, severity=Severity.INFO),))))


def test_calls_alone_clear_the_controller_and_not_the_coils() -> None:
    unwatched = tuple(replace(one, is_answering=False, line="") for one in coils())
    (finding,) = findings(Evidence(unwatched))
    assert "not the controller's calls" in finding.suspect
    assert "Connect the acknowledgement line" in finding.next


@pytest.mark.parametrize(
    ("changes", "suspect", "confidence"),
    [
        ({"missed_sag_v": 0.5}, "the branch of coil 4", "firm"),
        ({"missed_sag_v": 0.5, "is_called": False}, "the branch of coil 4", "firm"),
        ({"missed_sag_v": 0.02}, "feed, ground or control wire of coil 4 at its own plug", "firm"),
        ({"missed_sag_v": 0.02, "is_called": False}, "controller that does not call it", "likely"),
        ({"missed_sag_v": 0.26}, "coil 4, its plug (feed, ground, control), or its branch", "likely"),
        ({"missed_sag_v": None, "is_called": False}, "coil 4, its wires, or a controller", "likely"),
        ({"missed_sag_v": None, "missed_current_a": 6.4}, "the branch of coil 4", "firm"),
        ({"missed_sag_v": 0.5, "missed_current_a": 0.1}, "feed, ground or control wire of coil 4 at", "firm"),
    ],
)
def test_current_and_call_tell_where_one_coil_is_at_fault(
    changes: dict[str, object], suspect: str, confidence: str
) -> None:
    (finding,) = findings(engine(coil(4, alone=5, **changes)))
    assert suspect in finding.suspect
    assert finding.confidence == confidence
    assert "cylinder 4 did not answer in 5 of 2,000 turns" in finding.because
    assert "P0304, P0354" in finding.because


@pytest.mark.parametrize(("misses", "confidence"), [(1, "possible"), (2, "likely"), (3, "firm")])
def test_a_finding_becomes_firm_as_misses_come(misses: int, confidence: str) -> None:
    assert first(engine(coil(4, alone=misses, missed_sag_v=0.5))).confidence == confidence


def test_a_feed_too_stiff_to_show_a_charge_proves_nothing() -> None:
    stiff = tuple(replace(one, sag_v=0.05) for one in coils(coil(4, alone=9, missed_sag_v=0.05)))
    finding = first(Evidence(stiff))
    assert "coil 4, its plug" in finding.suspect
    assert finding.confidence == "likely"


def test_a_controller_that_gives_up_is_told_as_one_story_with_the_two_kept_apart() -> None:
    sick = coil(4, alone=6, missed_sag_v=0.0, uncalled=40, given_up=40, stop=Stop(6, 12.3, 13.26))
    off = seen(Kind.INJECTOR_OFF, 4, detail="injector silent after 6 misses in 16 turns")
    (finding,) = findings(engine(sick, flags=(off,)))
    assert "coil 4" in finding.suspect
    assert "controller" not in finding.suspect
    assert "after 6 misses in a row from 12.3 s on the controller stopped calling coil 4 at 13.3 s" in finding.because
    assert "not the fault" in finding.because
    assert "injector silent after 6 misses" in finding.because


def test_a_cylinder_left_out_without_misses_before_is_the_controller_s_own() -> None:
    (finding,) = findings(engine(coil(5, uncalled=7)))
    assert finding.suspect.startswith("the control wire of coil 5")
    assert finding.confidence == "firm"
    assert "P0305, P0355, P2312, P2313" in finding.because


def test_trouble_codes_follow_the_published_numbering() -> None:
    """P030n, P035n and P2300 + 3(n - 1): numbering of SAE J2012 / ISO 15031-6, which ends at cylinder 12."""
    twelve = Evidence(coils(coil(12, uncalled=3), count=12))
    assert "P0312, P0362, P2333, P2334" in first(twelve).because
    thirteen = Evidence(coils(coil(13, uncalled=3), count=16))
    assert "Trouble codes" not in first(thirteen).because


def test_coils_with_no_wire_of_their_own_in_common_are_named_together() -> None:
    found = findings(engine(coil(2, alone=9, missed_sag_v=0.5), coil(5, alone=8, missed_sag_v=0.01)))
    assert "what cylinders 2 and 5 have in common" in found[0].suspect
    assert "P0300" in found[0].because
    assert not [finding for finding in found if finding.confidence == "firm"]


def test_one_stray_miss_beside_a_bad_coil_does_not_hide_it() -> None:
    """13 CCR 1968.2 (e)(3.1.3): with more than 90 % of all misses one cylinder may be named alone."""
    found = findings(engine(coil(4, alone=50, missed_sag_v=0.5), coil(1, alone=1)))
    assert "the branch of coil 4" in found[0].suspect
    assert [finding.confidence for finding in found] == ["firm", "possible"]


def test_misses_of_every_coil_point_at_what_all_share() -> None:
    every = tuple(coil(n, alone=10, missed_sag_v=0.5) for n in range(1, 7))
    assert "a loose contact in what all coils share" in first(engine(*every)).suspect


def test_coils_that_share_two_cylinders_are_called_so() -> None:
    pairs = tuple(replace(SOUND, cylinders=pair) for pair in ((1, 4), (2, 3)))
    sick = replace(pairs[0], alone=5, missed_sag_v=0.5)
    finding = first(Evidence((sick, pairs[1])))
    assert "the coil of cylinders 1 and 4" in finding.suspect
    assert "P0301, P0304, P0351, P0354" in finding.because


@pytest.mark.parametrize(
    ("sag_v", "suspect", "confidence"),
    [(0.5, "the splice", "firm"), (None, "the splice", "likely"), (0.01, "the ground that all coils share", "firm")],
)
def test_a_silent_line_is_the_line_while_the_coils_charge_and_the_ground_when_none_does(
    sag_v: float | None, suspect: str, confidence: str
) -> None:
    line = Line("in3", (1, 2, 3, 4, 5, 6), silent=60, since_s=3.0, silent_sag_v=sag_v)
    every = tuple(coil(n, with_all=10) for n in range(1, 7))
    (finding,) = findings(engine(*every, lines=(line,)))
    assert suspect in finding.suspect
    assert finding.confidence == confidence
    assert "60 turns of cylinders 1 to 6 from 3.0 s on" in finding.because
    assert "No answer was ever seen" not in finding.because


def test_a_line_that_never_answered_sends_to_the_lead_first() -> None:
    every = tuple(coil(n, turns=10, with_all=10) for n in range(1, 7))
    line = Line("in3", (1, 2, 3, 4, 5, 6), silent=60, since_s=0.0, silent_sag_v=0.5)
    assert "check first that the measuring lead is on the line" in first(engine(*every, lines=(line,))).because


def test_calls_that_end_after_a_silence_are_told_with_it() -> None:
    every = tuple(coil(n, with_all=6, stop=Stop(6, 3.0, 4.0)) for n in range(1, 7))
    line = Line("in3", (1, 2, 3, 4, 5, 6), silent=36, since_s=3.0, silent_sag_v=0.5)
    cut = seen(Kind.ALL_CUT, severity=Severity.INFO, is_open=True, latest_s=5.0)
    (finding,) = findings(engine(*every, lines=(line,), flags=(cut,)))
    assert "Then the controller stopped calling cylinders 1 to 6" in finding.because
    assert "at 5.0 s, all calls ended" in finding.because


def test_a_line_held_low_is_not_also_called_open_or_wrongly_resting() -> None:
    every = tuple(coil(n, with_all=5, line_low=5) for n in range(1, 7))
    line = Line("in3", (1, 2, 3, 4, 5, 6), silent=30, since_s=3.0)
    flags = (seen(Kind.ACKNOWLEDGEMENT_HELD_LOW, input="in3"), seen(Kind.ACKNOWLEDGEMENT_REST_LEVEL))
    (finding,) = findings(engine(*every, lines=(line,), flags=flags))
    assert "short to ground" in finding.suspect
    assert "in 60 turns of cylinders 1 to 6 no answer could be seen" in finding.because


def test_a_dropout_takes_the_blame_for_the_misses_while_the_feed_was_gone() -> None:
    sick = (coil(1, without_feed=2, feed_gone=2), coil(2, without_feed=1, feed_gone=1))
    sags = tuple(seen(Kind.SUPPLY_SAG, one.cylinders[0], one.feed_gone) for one in sick)
    (finding,) = findings(engine(*sick, flags=(seen(Kind.SUPPLY_DROPOUT), *sags)))
    assert "the feed that all coils share" in finding.suspect
    assert "3 answers of cylinders 1 and 2 went missing with it" in finding.because
    assert finding.confidence == "firm"


def test_a_dropout_that_cost_no_answer_may_be_the_lead_s_clip() -> None:
    finding = first(engine(flags=(seen(Kind.SUPPLY_DROPOUT),)))
    assert finding.confidence == "likely"
    assert "clip" in finding.next


@pytest.mark.parametrize("kind", [Kind.SUPPLY_SAG, Kind.GROUND_RISE, Kind.ACKNOWLEDGEMENT_LOW_LEVEL, Kind.DWELL_SHORT])
def test_a_level_of_one_coil_is_its_own_and_of_most_is_what_they_share(kind: Kind) -> None:
    one = first(engine(flags=(seen(kind, 3),)))
    most = first(engine(flags=tuple(seen(kind, n) for n in range(1, 6))))
    assert "coil 3" in one.suspect
    assert not re.search(r"coil \d", most.suspect)


@pytest.mark.parametrize(
    ("loss_v", "suspect"), [(2.0, "between battery and"), (0.1, "alternator"), (None, "alternator")]
)
def test_a_low_feed_is_the_way_to_it_where_the_battery_stands_higher(loss_v: float | None, suspect: str) -> None:
    assert suspect in first(engine(flags=(seen(Kind.SUPPLY_LOW),), feed_loss_v=loss_v)).suspect


def test_a_change_of_shape_is_told_before_the_first_miss_and_with_the_misses_after() -> None:
    drift = seen(Kind.ACKNOWLEDGEMENT_DRIFT, 4, severity=Severity.INFO, detail="answers last 0.9 ms")
    assert any("answers last 0.9 ms" in finding.because for finding in findings(engine(flags=(drift,))))
    (finding,) = findings(engine(coil(4, alone=5, missed_sag_v=0.5), flags=(drift,)))
    assert "Its answers had changed as well: answers last 0.9 ms" in finding.because


def test_misses_that_keep_to_a_speed_are_told_with_it() -> None:
    by_speed, by_supply = Bands(SPEED_RPM), Bands(SUPPLY_V)
    for turn in range(600):
        is_miss = turn < 200 and turn % 10 == 0
        by_speed.take(3500.0 if turn < 200 else 1500.0, is_miss=is_miss, is_start=is_miss)
    sick = coil(4, alone=20, missed_sag_v=0.5, by_speed=by_speed, by_supply=by_supply)
    assert "only above 3000 rpm" in first(engine(sick)).because


@pytest.mark.parametrize("kind", [Kind.CLIPPED_INPUT, Kind.SAMPLING_TOO_SLOW])
def test_a_measurement_in_doubt_is_told_first_and_weakens_the_rest(kind: Kind) -> None:
    doubt = seen(kind, severity=Severity.WARNING)
    found = findings(engine(coil(4, alone=9, missed_sag_v=0.5), flags=(doubt,)))
    assert ["measurement" in finding.suspect for finding in found] == [True, False]
    assert found[1].confidence == "likely"


def test_a_few_lost_samples_do_not_weaken_what_was_seen() -> None:
    lost = seen(Kind.LOST_SAMPLES, severity=Severity.WARNING)
    found = findings(engine(coil(4, alone=9, missed_sag_v=0.5), flags=(lost,), coverage=0.998))
    assert "coil 4" in found[0].suspect
    assert found[0].confidence == "firm"
    assert "measurement" in found[1].suspect


def test_where_somebody_would_put_a_probe_the_caution_comes_first() -> None:
    finding = first(engine(coil(4, alone=9, missed_sag_v=0.5)))
    assert finding.next.startswith("Key off to connect; stay clear of the secondary side")


coil_facts = st.fixed_dictionaries(
    {
        "turns": st.integers(0, 3000),
        "unobserved": st.integers(0, 50),
        "alone": st.integers(0, 20),
        "with_all": st.integers(0, 20),
        "without_feed": st.integers(0, 5),
        "line_low": st.integers(0, 5),
        "uncalled": st.integers(0, 5),
        "is_called": st.booleans(),
        "is_answering": st.booleans(),
        "sag_v": st.none() | st.floats(0.0, 5.0),
        "missed_sag_v": st.none() | st.floats(0.0, 5.0),
        "missed_current_a": st.none() | st.floats(0.0, 9.0),
        "stop": st.none() | st.just(Stop(6, 1.0, 2.0)),
    }
)
flag_facts = st.builds(
    seen,
    st.sampled_from(Kind),
    st.none() | st.integers(1, 6),
    st.integers(1, 9),
    severity=st.sampled_from(Severity),
    input=st.sampled_from((None, "in3")),
    is_open=st.booleans(),
)


@settings(max_examples=40)
@given(st.lists(coil_facts, min_size=1, max_size=6), st.lists(flag_facts, max_size=6), st.floats(0.5, 1.0))
def test_whatever_was_seen_findings_are_whole_sorted_and_never_clear_who_missed(
    facts: list[dict[str, object]], flags: list[Seen], coverage: float
) -> None:
    every = tuple(coil(n, **one) for n, one in enumerate(facts, 1))
    line = Line("in3", (1, 2, 3, 4, 5, 6), sum(one.with_all for one in every), 1.0, 0.4)
    found = findings(Evidence(every, (line,), tuple(flags), coverage))
    ranks = [list(Confidence).index(finding.confidence) for finding in found]
    assert ranks == sorted(ranks)
    assert found == findings(Evidence(every, (line,), tuple(flags), coverage))
    for finding in found:
        texts = (finding.suspect, finding.because, finding.next)
        assert all(texts)
        assert not any(mark in text for text in texts for mark in ("None", "{", "..", "  ", " ,"))
    if is_cleared(found):
        assert not any(one.misses for one in every)


def test_no_coil_is_both_charging_and_not() -> None:
    for missed_v in (None, *(step / 50 for step in range(40))):
        for is_called in (True, False):
            found = findings(engine(coil(4, alone=9, missed_sag_v=missed_v, is_called=is_called)))
            assert len(found) == 1, (missed_v, is_called)


def test_cylinders_are_named_in_the_shortest_words() -> None:
    assert cylinders(coils()) == "cylinders 1 to 6"
    assert cylinders((coil(4), coil(2))) == "cylinders 2 and 4"
    assert cylinders((coil(4),)) == "cylinder 4"
