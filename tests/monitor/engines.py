"""Simulated engines analysed, and what came out held against what really happened."""

import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from acquire.block import SampleBlock
from drivers.simulated.source import SimulatedEngine
from drivers.simulated.truth import TrueFiring
from monitor.analyzer import Analyzer
from monitor.firing.records import Firing
from monitor.flags import Flag
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

    def kinds(self) -> Counter[str]:
        """How many flags of each kind."""
        return Counter(flag.kind.value for flag in self.flags)


def analyse(engine: SimulatedEngine, cuts: Sequence[int] = (), setup: Setup | None = None) -> Outcome:
    """Analyse all of a simulated engine's samples, cut at the sample indexes `cuts` as well."""
    info = engine.open()
    analyzer = Analyzer(setup or parse_setup(info.setup_toml or "", "simulated"), info)
    firings: list[Firing] = []
    flags: dict[int, Flag] = {}
    steps = [analyzer.feed(piece) for block in engine.blocks() for piece in cut(block, cuts)]
    for step in (*steps, analyzer.finish()):
        firings += step.firings
        flags.update((flag.number, flag) for flag in step.flags)
    return Outcome(analyzer, tuple(firings), tuple(flags[number] for number in sorted(flags)))


def cut(block: SampleBlock, cuts: Iterable[int]) -> list[SampleBlock]:
    """The block in pieces that end at the sample indexes in `cuts`."""
    inside = sorted({index for index in cuts if block.first_index < index < block.end_index})
    bounds = [block.first_index, *inside, block.end_index]
    first = block.first_index
    return [SampleBlock(start, block.counts[:, start - first : end - first]) for start, end in pairwise(bounds)]


def against_truth(firings: Sequence[Firing], truth: Sequence[TrueFiring], *, by_name: bool = True) -> Counter[str]:
    """Each opportunity as "true outcome -> ours"; "missed", "invented" or "doubted" (entered as
    unobserved) where one has no partner.

    Nobody can be asked for what the recording's edge cuts through (`expected` None), nor for a turn without an answer
    that has no neighbour on one side: the first and last before a cut, a stop, or the recording's end. With `by_name`
    False cylinders are not told apart, and the start of an answer stands for its spark.
    """
    result: Counter[str] = Counter()
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
                result["doubted" if firing.outcome == "unobserved" else "invented"] += 1
                continue
            taken.add(place)
            if true[place].expected is not None:
                result[f"{true[place].expected} -> {firing.outcome}"] += 1
        left = [row for n, row in enumerate(true) if n not in taken and row.expected is not None]
        result["missed"] += sum(row.expected == "acknowledged" or row.turn not in bare for row in left)
    return +result


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


def is_honest(result: Counter[str]) -> bool:
    """Whether nothing was entered as what it was not; some may be said to be unobserved."""
    return is_exact(Counter({key: n for key, n in result.items() if key != "doubted" and "-> unobserved" not in key}))


def is_exact(result: Counter[str]) -> bool:
    """Whether every opportunity was entered as what it was."""
    return all(len(set(key.split(" -> "))) == 1 and " -> " in key for key in result)


def _nearest(times: Sequence[float], to: float) -> int | None:
    place = bisect_left(times, to)
    near = [n for n in (place - 1, place) if 0 <= n < len(times)]
    return min(near, key=lambda n: abs(times[n] - to), default=None)
