"""The board's clock against the host's."""

import math

import numpy as np

MOST_SPANS = 128
LEAST_SPANS = 8


class ClockComparison:
    """Fits a line to the earliest arrivals.

    A sample never arrives early, but often late; so in each span of time only the arrival with the least delay counts.
    Spans are merged two by two when there are too many, so memory stays flat and a long run is fitted as a whole.
    """

    def __init__(self, rate_hz: float, span_s: float = 1.0) -> None:
        self._rate_hz, self._span_s = rate_hz, span_s
        self._zero_s: float | None = None
        self._least: list[tuple[float, float]] = []
        self._span = -1

    def arrived(self, end_index: int, host_s: float) -> None:
        """Note that all samples below `end_index` had come at `host_s` of the host's monotonic clock."""
        if self._zero_s is None:
            self._zero_s = host_s
        passed_s = host_s - self._zero_s
        point = (passed_s - end_index / self._rate_hz, passed_s)
        if int(passed_s / self._span_s) > self._span or not self._least:
            self._begin_span(passed_s, point)
        else:
            self._least[-1] = min(self._least[-1], point)

    @property
    def error_ppm(self) -> float | None:
        """How much faster than it says the board samples; None before eight spans. Least squares."""
        if len(self._least) < LEAST_SPANS:
            return None
        delay_s, passed_s = np.array(self._least).T
        passed_s = passed_s - passed_s.mean()
        slope = float(passed_s @ delay_s / (passed_s @ passed_s))
        return -slope * 1e6 if math.isfinite(slope) else None

    def _begin_span(self, passed_s: float, point: tuple[float, float]) -> None:
        if len(self._least) >= MOST_SPANS:
            self._least = [min(pair) for pair in zip(self._least[::2], self._least[1::2], strict=True)]
            self._span_s *= 2.0
        self._span = int(passed_s / self._span_s)
        self._least.append(point)
