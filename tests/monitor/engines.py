"""Simulated engines analysed, and what came out held against what really happened."""

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from itertools import pairwise
from statistics import median

from acquire.block import SampleBlock
from drivers.simulated.source import SimulatedEngine
from drivers.simulated.truth import TrueFiring
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.presses import Press
from monitor.setup import Setup, parse_setup

ORDERS = {
    1: (1,),
    2: (1, 2),
    3: (1, 2, 3),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 5, 3, 6, 2, 4),
    8: (1, 8, 4, 3, 6, 5, 7, 2),
    12: (1, 7, 5, 11, 3, 9, 6, 12, 2, 8, 4, 10),
}
THREE_LEADS = ("supply", "control1", "acknowledgement")


def all_leads(cylinders: int) -> tuple[str, ...]:
    """Feed, every control, one shared line."""
    return ("supply", *(f"control{n}" for n in range(1, cylinders + 1)), "acknowledgement")


@dataclass(frozen=True)
class Outcome:
    """A finished analysis."""

    analyzer: Analyzer
    firings: tuple[Firing, ...]
    flags: tuple[Flag, ...]
    presses: tuple[Press, ...]

    def kinds(self) -> Counter[str]:
        """How many flags of each kind."""
        return Counter(flag.kind.value for flag in self.flags)


def analyse(engine: SimulatedEngine, cuts: Sequence[int] = (), setup: Setup | None = None) -> Outcome:
    """Analyse all of a simulated engine's samples, cut at the sample indexes `cuts` as well."""
    info = engine.open()
    analyzer = Analyzer(setup or parse_setup(info.setup_toml or "", "simulated"), info)
    firings: list[Firing] = []
    flags: dict[int, Flag] = {}
    presses: list[Press] = []
    steps = [analyzer.feed(piece) for block in engine.blocks() for piece in cut(block, cuts)]
    for step in (*steps, analyzer.finish()):
        firings += step.firings
        presses += step.presses
        flags.update((flag.number, flag) for flag in step.flags)
    return Outcome(analyzer, tuple(firings), tuple(flags[number] for number in sorted(flags)), tuple(presses))


def cut(block: SampleBlock, cuts: Iterable[int]) -> list[SampleBlock]:
    """The block in pieces that end at the sample indexes in `cuts`."""
    inside = sorted({index for index in cuts if block.first_index < index < block.end_index})
    bounds = [block.first_index, *inside, block.end_index]
    first = block.first_index
    return [SampleBlock(start, block.counts[:, start - first : end - first]) for start, end in pairwise(bounds)]


@dataclass(frozen=True)
class Score:
    """An analysis held against the truth. `misplaced` faults were found, but on another cylinder."""

    firings: int = 0
    faults: int = 0
    found: int = 0
    missed: int = 0
    invented: int = 0
    misplaced: int = 0
    unobserved: int = 0

    def __add__(self, other: "Score") -> "Score":
        return Score(*(a + b for a, b in zip(astuple(self), astuple(other), strict=True)))

    @property
    def is_wrong(self) -> bool:
        """Whether anything was said that is not so."""
        return bool(self.missed or self.invented or self.misplaced)

    @property
    def unobserved_share(self) -> float:
        """Part of the opportunities that were not entered, or as unobserved, though samples were there."""
        return self.unobserved / self.firings if self.firings else 0.0


FAULTS = ("unacknowledged", "uncommanded")


def score(firings: Sequence[Firing], truth: Sequence[TrueFiring], *, by_name: bool = True) -> Score:
    """Count what was found, missed, invented and put on the wrong cylinder."""
    pairs = pair(firings, truth, by_name=by_name)
    known = [(row, firing) for row, firing in pairs if row is None or row.expected is not None]
    asked = [(row, firing) for row, firing in known if row is not None]
    faults = [(row, firing) for row, firing in asked if row.expected in FAULTS]
    missed = [row for row, firing in faults if firing is None or firing.outcome not in (row.expected, "unobserved")]
    invented = [
        firing
        for row, firing in known
        if firing is not None and (row is None or row.expected != firing.outcome) and firing.outcome in FAULTS
    ]
    invented += [firing for row, firing in known if row is None and firing and firing.outcome == "acknowledged"]
    misplaced = sum(
        any(row.cylinder != one.cylinder and abs(row.spark_s - one.time_s) < 15.0 / row.rpm for row in missed)
        for one in invented
    )
    unsaid = [row for row, firing in asked if row.expected != "unobserved" and _is_unsaid(row, firing)]
    found = sum(firing is not None and firing.outcome == row.expected for row, firing in faults)
    counts = (len(asked), len(faults), found, len(missed), len(invented))
    return Score(*counts, misplaced=misplaced, unobserved=len(unsaid))


def _is_unsaid(row: TrueFiring, firing: Firing | None) -> bool:
    return firing.outcome == "unobserved" if firing is not None else row.expected == "acknowledged"


def against_truth(firings: Sequence[Firing], truth: Sequence[TrueFiring], *, by_name: bool = True) -> Counter[str]:
    """Each opportunity as "true outcome -> ours"; "missed", "invented" or "doubted" (entered as unobserved) where one
    has no partner."""
    result: Counter[str] = Counter()
    for row, firing in pair(firings, truth, by_name=by_name):
        if firing is None:
            result["missed"] += row is not None and row.expected is not None
        elif row is None:
            result["doubted" if firing.outcome == "unobserved" else "invented"] += 1
        elif row.expected is not None:
            result[f"{row.expected} -> {firing.outcome}"] += 1
    return +result


def pair(
    firings: Sequence[Firing], truth: Sequence[TrueFiring], *, by_name: bool = True
) -> list[tuple[TrueFiring | None, Firing | None]]:
    """What happened beside what was entered, by cylinder and time.

    Nobody can be asked for what the recording's edge cuts through (`expected` None), nor for a turn without an answer
    that has no neighbour on one side: the first and last before a cut, a stop, or the recording's end. Behind the last
    true spark an answer may begin whose own spark the recording does not hold. With `by_name`
    False cylinders are not told apart, and the start of an answer stands for its spark.
    """
    pairs: list[tuple[TrueFiring | None, Firing | None]] = []
    bare = _without_neighbour(truth)
    groups = {one for row in truth for one in row.cylinders} if by_name else {None}
    for cylinder in groups:
        true = [row for row in truth if cylinder is None or cylinder in row.cylinders]
        lead_s = 0.0 if by_name else _answer_before_spark_s(true)
        sparks = [row.spark_s - lead_s for row in true]
        taken: set[int] = set()
        for firing in (firing for firing in firings if cylinder in (None, firing.cylinder)):
            place = _nearest(sparks, firing.time_s)
            reach_s = (20.0 if by_name else 5.0) / (firing.speed_rpm or 600)
            if place is None or place in taken or abs(sparks[place] - firing.time_s) > reach_s:
                if firing.time_s < sparks[-1] or firing.outcome != "acknowledged":
                    pairs.append((None, firing))
            else:
                taken.add(place)
                pairs.append((true[place], firing))
        left = [row for n, row in enumerate(true) if n not in taken]
        pairs += [(row, None) for row in left if row.expected == "acknowledged" or row.turn not in bare]
    return pairs


def _answer_before_spark_s(truth: Sequence[TrueFiring]) -> float:
    """Where only the line is connected, an answer's start stands for the spark."""
    leads = [row.spark_s - row.answer_start_s for row in truth if row.answer_start_s is not None]
    return median(leads) if leads else 0.0


def _without_neighbour(truth: Sequence[TrueFiring]) -> set[int]:
    """Turns that stand first or last in a fired stretch."""
    rows = sorted(truth, key=lambda row: row.spark_s)
    gaps = [math.inf, *(b.spark_s - a.spark_s for a, b in pairwise(rows)), math.inf]
    edges = zip(rows, gaps[:-1], gaps[1:], strict=True)
    return {row.turn for row, before, behind in edges if max(before, behind) > 2.2 * min(before, behind)}


def is_exact(result: Counter[str]) -> bool:
    """Whether every opportunity was entered as what it was."""
    return all(len(set(key.split(" -> "))) == 1 and " -> " in key for key in result)


def _nearest(times: Sequence[float], to: float) -> int | None:
    place = bisect_left(times, to)
    near = [n for n in (place - 1, place) if 0 <= n < len(times)]
    return min(near, key=lambda n: abs(times[n] - to), default=None)
