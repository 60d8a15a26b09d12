"""What the misses say, in words: who may be named, where they concentrate, how far to drive."""

from collections.abc import Iterator

from monitor.bands import concentration, together
from monitor.naming import named_alone
from monitor.rate_words import percent
from monitor.rates import drive_to_clear
from monitor.standing import Standing
from monitor.tally import CylinderTally
from monitor.text import span

Coils = dict[tuple[int, ...], CylinderTally]


def verdict_lines(standing: Standing) -> list[str]:
    """Lines below the table of misses; a coil's cylinders are judged as one, for they fire and fail together."""
    coils = standing.coils
    suspects = {coil: tally for coil, tally in coils.items() if tally.misses}
    if not suspects:
        return []
    alone = named_alone({coil: tally.misses for coil, tally in suspects.items()})
    chosen = {alone: suspects[alone]} if alone else suspects
    is_partial = sum(map(len, coils)) < len(standing.cylinders)
    return [
        _naming(suspects, alone) + (" Not every cylinder was watched." if is_partial else ""),
        *_places(chosen, coils),
        *_drive(chosen, standing),
    ]


def _naming(suspects: Coils, alone: tuple[int, ...] | None) -> str:
    total = sum(tally.misses for tally in suspects.values())
    if alone:
        count = suspects[alone].misses
        return f"{_name(alone).capitalize()} may be named alone: {count:,} of all {total:,} misses (more than 90 %)."
    ranked = sorted(suspects.items(), key=lambda item: -item[1].misses)
    shares = ", ".join(f"{tally.misses:,} on {_name(coil)}" for coil, tally in ranked)
    return f"Several cylinders, none with more than 90 % of all {total:,} misses: {shares}."


def _places(chosen: Coils, coils: Coils) -> Iterator[str]:
    """Where they miss: all together if several missed, each by itself where that says nothing."""
    questions = 2 * (1 + len(coils))
    if len(chosen) > 1:
        lines = list(_concentrations("all cylinders together miss", list(coils.values()), questions))
        if lines:
            yield from lines
            return
    for coil, tally in chosen.items():
        yield from _concentrations(f"{_name(coil)} {'misses' if len(coil) == 1 else 'miss'}", [tally], questions)


def _concentrations(who: str, tallies: list[CylinderTally], questions: int) -> Iterator[str]:
    for by, unit, bands in (
        ("speed", "rpm", together(tally.by_speed for tally in tallies)),
        ("feed voltage", "V", together(tally.by_supply for tally in tallies)),
    ):
        where = concentration(bands, unit, questions)
        if where:
            yield f"By {by}, {who} {where}."


def _drive(chosen: Coils, standing: Standing) -> Iterator[str]:
    """How far to go to show that the rarest of these misses has gone."""
    coil, rate = min(((coil, tally.missed.rate) for coil, tally in chosen.items()), key=lambda item: item[1])
    rpm = standing.speed_rpm.quantile(0.5)
    drive = drive_to_clear(rate, standing.period_rev, rpm)
    if drive is None:
        return
    who = _name(coil) if len(chosen) == 1 else "each cylinder"
    lasts = f", {span(60 * drive.minutes)} at {rpm:.0f} rpm" if drive.minutes is not None else ""
    yield (
        f"To show a repair, under the same conditions: {drive.turns:,} turns of {who} without a miss "
        f"({drive.revolutions:,} revolutions{lasts}) put the rate below {percent(rate)} % with 95 % confidence."
    )


def _name(coil: tuple[int, ...]) -> str:
    return f"cylinder {coil[0]}" if len(coil) == 1 else f"cylinders {' and '.join(map(str, coil))} (one coil)"
