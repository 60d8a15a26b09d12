"""The surroundings of flags and marks, kept apart from the samples that may have to go."""

import errno
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from acquire.block import StreamInfo
from acquire.errors import CoilcallError, FormatError
from acquire.recording_guard import size_words
from monitor.clip_cut import cut_clip
from monitor.clip_plan import ClipPlan, Span
from monitor.disk_terms import DiskTerms
from monitor.disk_thread import in_thread
from monitor.entries import Clip
from monitor.flags import Flag
from monitor.trouble import Trouble

LEDGERS_SHARE = 4
"""One part in so many of the reserve is left to the ledger, which outlives clips as it outlives samples. A clip takes
no more than one either, so that it finds room wherever old samples can make some."""
SHORTEST_S = 1.0
"""No clip is planned shorter than that, however small the disk."""
BESIDE_BYTES = 1 << 17
"""What a clip takes beside its samples: its set-up, and a ledger that has 76 kB before its first row."""


class Clips:
    """Clips of the recording in `folder`. Everything here is called from the event loop.

    They are cut in a thread of their own, out of sample files that were just written and still lie in memory: the
    disk's thread need not wait for it, and nothing is held twice. `terms` say how large the reserve is.
    """

    def __init__(self, folder: Path, info: StreamInfo, terms: DiskTerms, owner: ThreadPoolExecutor) -> None:
        self._folder, self._info, self._terms, self._owner = folder, info, terms, owner
        self._rate_hz = info.sample_rate_hz
        self._flags_seen = 0
        self._ledgers_bytes = terms.reserve(folder) // LEDGERS_SHARE
        self._sample_bytes = len(info.channels) * info.dtype.itemsize
        fitting_s = (self._ledgers_bytes - BESIDE_BYTES) / (self._sample_bytes * self._rate_hz)
        longest_s = min(terms.surroundings.longest_s, max(fitting_s, SHORTEST_S))
        self.plan = ClipPlan(self._rate_hz, replace(terms.surroundings, longest_s=longest_s))
        self.trouble = Trouble("clips", terms.clock)

    def want(self, at_s: float) -> None:
        """Keep what surrounds this moment."""
        self.plan.want(round(at_s * self._rate_hz))

    def note_flags(self, flags: Iterable[Flag]) -> None:
        """Keep what surrounds each flag's beginning, and its end."""
        for flag in flags:
            if flag.number > self._flags_seen:
                self._flags_seen = flag.number
                self.want(flag.start_s)
            if flag.end_s is not None:
                self.want(flag.end_s)

    async def cut(self, kept_index: int, *, is_last: bool = False) -> list[Clip]:
        """Cut what is settled and lies on the disk up to `kept_index`; with `is_last` everything that is wanted."""
        clips: list[Clip] = []
        while (self.trouble.is_due or is_last) and (span := self.plan.next_span(kept_index, is_last=is_last)):
            clip = await self._cut(span)
            clips += [clip] if clip else []
            if self.trouble.reason:
                break
        if is_last:
            self.plan.give_up()
        return clips

    async def _cut(self, span: Span) -> Clip | None:
        try:
            clip = await in_thread(self._owner, cut_clip, self._folder, self._info, span, self._require_room)
        except FormatError as error:  # no further try would read it
            self.trouble.last_reason, clip = str(error), None
            self.plan.given_up += 1
        except CoilcallError as error:
            self.trouble.failed(str(error))
            return None
        self.trouble.over()
        self.plan.done(span)
        return clip

    def _require_room(self, span: Span) -> None:
        """Blocks on the disk. Raises OSError where the clip would take what is the ledger's."""
        clip_bytes = (span.end_index - span.first_index) * self._sample_bytes + BESIDE_BYTES
        free = self._terms.free(self._folder)
        if free - clip_bytes < self._ledgers_bytes:
            words = f"no room for a clip of {size_words(clip_bytes)}: {size_words(free)} are free, and the last"
            words += f" {size_words(self._ledgers_bytes)} are the ledger's"
            raise OSError(errno.ENOSPC, words, str(self._folder))
