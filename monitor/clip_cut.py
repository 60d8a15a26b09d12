"""One clip: a stretch of a recording as a recording of its own, which opens alone."""

import shutil
from collections.abc import Callable
from itertools import chain
from pathlib import Path

from acquire.block import StreamInfo
from acquire.recording import RecordingWriter, read_between
from acquire.recording_header import sync_folder
from monitor.clip_ledger import copy_entries
from monitor.clip_plan import Span
from monitor.entries import Clip
from monitor.ledger import LEDGER_NAME

CLIPS_NAME = "clips"
_PARTIAL = ".partial"


def cut_clip(folder: Path, info: StreamInfo, span: Span, require_room: Callable[[Span], None]) -> Clip | None:
    """Copy samples and entries of a stretch into the next folder under `clips`; None where no sample of it is there.

    The clip has its name only when it is whole. `require_room` is called before anything is written, and may raise
    OSError. Blocks on the disk. Raises OSError, CoilcallError.
    """
    blocks = read_between(folder, info, span.first_index, span.end_index)
    first = next(blocks, None)
    if first is None:
        return None
    require_room(span)
    clips = folder / CLIPS_NAME
    number = _last_number(clips) + 1
    partial = clips / f"{number:04d}{_PARTIAL}"
    try:
        with RecordingWriter(partial, info) as writer:
            for block in chain([first], blocks):
                writer.write(block)
        because = copy_entries(folder / LEDGER_NAME, partial / LEDGER_NAME, span, info.sample_rate_hz)
        partial.rename(clips / f"{number:04d}")
    finally:
        shutil.rmtree(partial, ignore_errors=True)
    sync_folder(clips)
    return Clip(number, first.first_index, writer.end_index - first.first_index, because)


def remove_halves(folder: Path) -> None:
    """Take away what a kill left of clips that were not whole."""
    for partial in (folder / CLIPS_NAME).glob(f"*{_PARTIAL}"):
        shutil.rmtree(partial, ignore_errors=True)


def _last_number(clips: Path) -> int:
    names = (path.name for path in clips.iterdir()) if clips.is_dir() else ()
    return max((int(name) for name in names if name.isdecimal()), default=0)
