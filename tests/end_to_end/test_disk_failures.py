"""Disks and clocks that really fail under a running log; tests/bench/disk.py makes them."""

import shutil
from pathlib import Path

import pytest

from tests.bench import disk
from tests.bench.disk import Left

needs_mounts = pytest.mark.skipif(not disk.can_mount(), reason="nothing may be mounted here: that takes root")


def assert_nothing_that_was_stored_is_lost(left: Left) -> None:
    assert "Traceback" not in left.said
    assert left.samples.wrong == 0
    assert left.unaccounted == 0
    assert left.book_is_right


@needs_mounts
def test_on_a_full_disk_the_book_goes_on_to_the_end_and_what_samples_are_missing_is_booked(tmp_path: Path) -> None:
    left = disk.full(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert left.status == 2
    assert "the disk is full" in left.last_words
    assert len(left.book.firings) == len(left.rows)
    assert left.samples.read > 0


@needs_mounts
def test_a_disk_that_others_fill_is_told_and_written_again_when_it_has_room(tmp_path: Path) -> None:
    left = disk.filled_by_others(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert "full" in left.disk_words[0]
    assert left.disk_words[-1] == ""


@needs_mounts
def test_a_read_only_place_is_refused_in_one_line(tmp_path: Path) -> None:
    left = disk.folder_read_only(tmp_path)
    assert left.status == 2
    assert len(left.said.splitlines()) == 1
    assert "Read-only" in left.said


def test_a_limit_on_files_makes_more_of_them_and_costs_nothing(tmp_path: Path) -> None:
    left = disk.files_limited(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert left.status == 0
    assert left.samples.read == 20 * disk.RATE_HZ
    assert len(left.book.firings) == len(left.rows)


def test_a_folder_deleted_under_the_log_is_told_while_it_runs_and_at_its_end(tmp_path: Path) -> None:
    left = disk.folder_deleted(tmp_path)
    assert "Traceback" not in left.said
    assert left.status == 2
    assert "is gone" in left.disk_words[0]
    assert "not everything could be kept" in left.last_words


@pytest.mark.skipif(not shutil.which("cc"), reason="needs a C compiler")
def test_civil_time_set_back_by_an_hour_moves_nothing(tmp_path: Path) -> None:
    left = disk.clock_set_back(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert left.status == 0
    assert left.samples.missing == 0


@pytest.mark.skipif(not shutil.which("cc"), reason="needs a C compiler")
def test_a_recording_is_gone_on_with_behind_its_end_where_civil_time_went_back(tmp_path: Path) -> None:
    left = disk.resumed_an_hour_earlier(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert left.status == 0
    assert left.samples.missing == 3 * disk.RATE_HZ
    assert "the clock went back by" in left.said


def test_a_process_that_was_stopped_goes_on_after_a_gap_as_long_as_that(tmp_path: Path) -> None:
    left = disk.process_stopped(tmp_path)
    assert_nothing_that_was_stored_is_lost(left)
    assert left.status == 0
    assert left.samples.missing >= disk.STOPPED_S * disk.RATE_HZ
    assert '"event": "suspended"' in left.said
