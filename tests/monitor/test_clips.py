"""Clips of sessions: read as anybody would, and analysed again."""

import asyncio
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from acquire.block import Counts
from acquire.errors import CoilcallError
from acquire.recording import RecordingWriter, read_blocks, read_info
from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine
from monitor.analysis import analyze_recording
from monitor.clip_cut import cut_clip, remove_halves
from monitor.clip_ledger import copy_entries
from monitor.clip_plan import Span
from monitor.disk_terms import DiskTerms, Surroundings
from monitor.entries import Entries
from monitor.flags import Flag, Kind, Severity
from monitor.ledger import Ledger
from monitor.ledger_reader import read_flags, read_marks
from monitor.live import Options, session
from tests.monitor.streams import Played, engine_running
from tests.monitor.test_live import rows

FAULTS = (
    Fault("no-answer", 4, start_s=8.0, end_s=8.4),
    Fault("no-answer", 2, start_s=20.0, end_s=20.2),
    Fault("stray-answer", 5, start_s=32.0, end_s=33.0),
)


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A drive of 45 s with three faults far apart, kept by a session."""

    folder = tmp_path_factory.mktemp("clips") / "drive"
    engine = SimulatedEngine(faults=list(FAULTS), sample_rate_hz=20_000, duration_s=45.0, block_samples=4096)
    asyncio.run(_keep(engine, folder))
    return folder


async def _keep(engine: SimulatedEngine, folder: Path) -> None:
    async with session(engine, Options(folder=folder)) as running:
        await running.ended.wait()


def clips(folder: Path) -> list[Path]:
    return sorted((folder / "clips").iterdir())


def samples(folder: Path) -> tuple[int, Counts]:
    blocks = list(read_blocks(folder, read_info(folder)))
    return blocks[0].first_index, np.concatenate([block.counts for block in blocks], axis=1)


def test_every_flag_lies_in_a_clip_with_two_seconds_before_it_and_one_behind(drive: Path) -> None:
    spans = [(first / 20_000, (first + count) / 20_000) for _, first, count, _ in rows(drive, "clips")]
    flags = read_flags(drive / "ledger.sqlite")
    assert len(flags) >= 3
    for moment in [flag.start_s for flag in flags] + [flag.end_s for flag in flags if flag.end_s is not None]:
        assert any(first <= max(moment - 1.9999, 0) and min(moment + 0.9999, 45.0) <= end for first, end in spans), (
            f"{moment} is in none of {spans}"
        )


def test_a_clip_holds_the_samples_of_the_recording_at_their_places(drive: Path) -> None:
    _, whole = samples(drive)
    assert [path.name for path in clips(drive)] == [f"{number:04d}" for number in range(1, len(clips(drive)) + 1)]
    for path, (number, first, count, _) in zip(clips(drive), rows(drive, "clips"), strict=True):
        assert path.name == f"{number:04d}"
        found_first, found = samples(path)
        assert found_first == first
        np.testing.assert_array_equal(found, whole[:, first : first + count])


def test_a_clip_analysed_alone_raises_the_flags_that_it_was_kept_for(drive: Path) -> None:
    kept = 0
    for path in clips(drive):
        said = {(flag.kind, flag.cylinder, round(flag.start_s, 6)) for flag in read_flags(path / "ledger.sqlite")}
        found = analyze_recording(str(path), None).flags
        raised = {(flag.kind, flag.cylinder, round(flag.start_s, 6)) for flag in found}
        first_s = samples(path)[0] / 20_000
        begun_inside = {one for one in said if one[2] >= first_s + 1.5}
        assert begun_inside <= raised
        kept += len(begun_inside)
    assert kept >= 3


def test_a_clip_says_why_it_was_kept_and_holds_the_entries_of_its_time_only(drive: Path) -> None:
    recording_id = dict(rows(drive, "about"))["recording_id"]
    for path, (_, first, count, because) in zip(clips(drive), rows(drive, "clips"), strict=True):
        about = dict(rows(path, "about"))
        assert about["because"] == because
        assert about["recording_id"] == recording_id
        times = [row[2] for row in rows(path, "firings")]
        assert times
        assert first / 20_000 <= min(times)
        assert max(times) < (first + count) / 20_000
    assert any("missing-acknowledgement" in row[3] for row in rows(drive, "clips"))


async def test_a_mark_is_kept_with_its_surroundings_and_named_as_the_reason(tmp_path: Path) -> None:
    async with session(Played(engine_running()), Options(folder=tmp_path / "drive")) as running:
        await running.ended.wait()
        mark = running.mark("key")
    (path, *_) = reversed(clips(tmp_path / "drive"))
    assert read_marks(path / "ledger.sqlite") == [mark]
    assert "mark 1" in dict(rows(path, "about"))["because"]


async def test_a_clip_is_cut_while_the_session_goes_on(tmp_path: Path) -> None:

    surroundings = Surroundings(after_s=0.2, late_s=0.2)
    terms = DiskTerms(surroundings=surroundings)
    async with session(
        Played(engine_running(), is_endless=True), Options(folder=tmp_path / "d", disk=terms)
    ) as running:
        while not (tmp_path / "d" / "clips" / "0001").exists():  # noqa: ASYNC110 - looked at as somebody else would
            await asyncio.sleep(0.01)
        assert not running.ended.is_set()
    assert read_flags(tmp_path / "d" / "clips" / "0001" / "ledger.sqlite")


@pytest.mark.parametrize(("span", "flags"), [(Span(80, 120), [1]), (Span(100, 120), [])])
def test_a_flag_that_never_ended_lasted_to_the_end_of_its_session(tmp_path: Path, span: Span, flags: list[int]) -> None:
    """Ten samples a second; the second session begins at sample 100."""
    whole, utc = tmp_path / "ledger.sqlite", datetime(2026, 1, 1, tzinfo=UTC)
    flag = Flag(1, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, 4, None, 5.0, None, 1, "no answer")
    with Ledger(whole, utc) as ledger:
        ledger.write(Entries(flags=[flag], first_index=0))
    Ledger(whole, utc, is_new=False, first_index=100).close()
    copy_entries(whole, tmp_path / "clip.sqlite", span, 10.0)
    assert [one.number for one in read_flags(tmp_path / "clip.sqlite")] == flags


def refuse(span: Span) -> None:
    raise OSError(f"asked for room for {span}")


def test_a_stretch_without_a_sample_makes_no_clip_and_needs_no_room(drive: Path) -> None:
    before = clips(drive)
    assert cut_clip(drive, read_info(drive), Span(10**9, 10**9 + 5), refuse) is None
    assert clips(drive) == before


def test_halves_of_clips_are_taken_away_and_whole_ones_are_not(tmp_path: Path) -> None:
    for name in ("0001", "0002.partial"):
        (tmp_path / "clips" / name).mkdir(parents=True)
    remove_halves(tmp_path)
    assert [path.name for path in clips(tmp_path)] == ["0001"]


def test_a_clip_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with RecordingWriter(tmp_path / "drive", engine_running()[0]) as writer:
        for block in engine_running()[1]:
            writer.write(block)
    with pytest.raises(CoilcallError, match=r"ledger\.sqlite: cannot be written: unable to open"):
        cut_clip(tmp_path / "drive", read_info(tmp_path / "drive"), Span(0, 10_000), lambda _span: None)
    assert clips(tmp_path / "drive") == []


async def test_samples_that_cannot_be_read_are_told_once_and_do_not_keep_later_clips_from_being_cut(
    tmp_path: Path,
) -> None:
    source, folder = Played(engine_running(), is_endless=True), tmp_path / "drive"
    told = r"not everything could be kept: 1 clip \(.*cannot be understood from byte"
    with pytest.raises(CoilcallError, match=told):  # noqa: PT012 - it is raised when the session is left
        async with session(source, Options(folder=folder)) as running:
            while running.snapshot().time_s < 4.0 or not rows(folder, "firings"):  # noqa: ASYNC110 - as a screen looks
                await asyncio.sleep(0.01)
            file = folder / "samples-001.arrow"
            with file.open("r+b") as opened:
                opened.write(b"damage" * 100)
