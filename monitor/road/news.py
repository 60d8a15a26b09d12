"""What has happened on a road test since somebody last looked."""

from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

from monitor.flags import Flag
from monitor.marks import flags_before
from monitor.road.words import flag_line, mark_line
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.text import elapsed, plain, span


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that happened, `time_s` seconds from the first sample: a line for people, and the same as facts.

    `facts` are JSON's types only.
    """

    event: str
    time_s: float
    words: str
    facts: dict[str, Any] = field(default_factory=dict)


class News:
    """Remembers what it has given, and gives the rest.

    Flags have the numbers that the ledger gives them: `flags_before` are those of sessions before this one.
    """

    def __init__(self, flags_before: int = 0) -> None:
        self._flags_before = flags_before
        self._flags = self._marks = self._lost = self._back = 0
        self._disk = self._publishing = ""

    def since(self, now: Snapshot, source: SourceView) -> Iterator[Item]:
        """Everything new, each thing once: flags raised, marks, comings and goings of the source, disk and network."""
        yield from self._new_flags(now)
        yield from self._new_marks(now)
        yield from self._of_source(source)
        if source.disk != self._disk:
            self._disk = source.disk
            yield _changed("disk", now, source.disk, "written again")
        if (publishing := _without_figures(source.publishing)) != self._publishing:
            self._publishing = publishing
            yield _changed("publishing", now, source.publishing, "up to date")

    def _new_flags(self, now: Snapshot) -> Iterator[Item]:
        new = [flag for flag in reversed(now.flags) if flag.number > self._flags]
        unseen = now.flags_raised - self._flags - len(new)
        if unseen > 0:
            yield Item("flags", now.time_s, f"{unseen} more flags, in the ledger", {"count": unseen})
        for flag in new:
            yield Item("flag", flag.start_s, flag_line(flag), self._booked(flag))
        self._flags = max(self._flags, now.flags_raised)

    def _new_marks(self, now: Snapshot) -> Iterator[Item]:
        for mark in reversed(now.marks):
            if mark.number > self._marks:
                self._marks = mark.number
                felt = [self._booked(flag) for flag in flags_before(mark, now.flags)]
                yield Item("mark", mark.time_s, mark_line(mark, now), asdict(mark) | {"flags": felt})

    def _booked(self, flag: Flag) -> dict[str, Any]:
        return asdict(flag) | {"number": self._flags_before + flag.number}

    def _of_source(self, source: SourceView) -> Iterator[Item]:
        """Lost, and back, each time once; an outage too short to have been seen is told afterwards."""
        lost_at_s, gone_s = source.lost_at_s or 0.0, source.outage_s or 0.0
        facts = {"times_lost": source.times_lost, "reason": source.reason}
        if source.times_lost > self._lost:
            self._lost = source.times_lost
            yield Item("lost", lost_at_s, f"{elapsed(lost_at_s)} LOST {plain(source.reason)}", facts)
        if source.times_lost > self._back and source.state is SourceState.FLOWING:
            self._back = source.times_lost
            words = f"{elapsed(lost_at_s + gone_s)} back after {span(gone_s)}, lost {source.times_lost}x"
            yield Item("back", lost_at_s + gone_s, words, facts | {"outage_s": gone_s})


def _without_figures(words: str) -> str:
    """What is said, whatever the count: how many messages wait is no news each time."""
    return "".join(character for character in words if not character.isdigit())


def _changed(event: str, now: Snapshot, words: str, all_well: str) -> Item:
    return Item(event, now.time_s, f"{elapsed(now.time_s)} {event}: {plain(words) or all_well}", {"words": words})
