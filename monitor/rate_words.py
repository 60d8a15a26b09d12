"""A rate of misses and what its count leaves open, in words: 95 % confidence, bounds rounded outwards."""

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

from monitor.rates import Missed, bound_without_miss, bounds


def rate_in_words(missed: Missed) -> str:
    """`0.52 % (0.31–0.81 %)`, or `< 0.13 %` where none was missed, or a dash where nothing was observed."""
    if not missed.misses:
        return bounds_in_words(missed)
    return f"{percent(missed.rate)} % ({bounds_in_words(missed)})"


def bounds_in_words(missed: Missed) -> str:
    """The same without the rate itself: `0.31–0.81 %`."""
    if not missed.turns:
        return "-"
    if not missed.misses:
        return f"< {percent(bound_without_miss(missed.turns), ROUND_CEILING)} %"
    low, high = bounds(missed)
    return f"{percent(low, ROUND_FLOOR)}–{percent(high, ROUND_CEILING)} %"


def percent(share: float, rounding: str = ROUND_HALF_EVEN) -> str:
    """A share (0 to 1) in per cent: two decimals, one from 10 % on; two digits that count below 0.1 %."""
    value = Decimal(share) * 100
    lead = value.adjusted()
    return f"{value.quantize(Decimal(1).scaleb(-1 if lead > 0 else -max(2, 1 - lead)), rounding):f}"
