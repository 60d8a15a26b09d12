"""State levels against the worked figures of IEEE Std 181 (histogram method)."""

import numpy as np
import pytest

from monitor.signal.levels import reference_level, state_levels


def test_levels_of_the_two_state_histogram_example() -> None:
    """IEEE Std 181 example: 100 samples in 4 bins, counts 50, 0, 0, 50, centres 0.2427 … 2.0428."""
    samples = np.array([-0.0573, *[0.25] * 49, *[2.0] * 49, 2.3428])
    low, high = state_levels(samples, bins=4)
    assert low == pytest.approx(0.2427, abs=1e-4)
    assert high == pytest.approx(2.0428, abs=1e-4)


@pytest.mark.parametrize(("percent", "level"), [(10, 0.5309), (50, 2.5993), (90, 4.6677)])
def test_reference_levels_between_the_published_state_levels(percent: float, level: float) -> None:
    """IEEE Std 181: state levels 0.0138 and 5.1848 give these reference levels."""
    assert reference_level(0.0138, 5.1848, percent) == pytest.approx(level, abs=1e-4)


def test_a_constant_has_both_levels_at_its_value() -> None:
    low, high = state_levels(np.full(10, 5.0))
    assert low == pytest.approx(5.0, abs=0.01)
    assert high == pytest.approx(5.0, abs=0.01)


def test_levels_of_nothing_are_refused() -> None:
    with pytest.raises(ValueError, match="at least one sample"):
        state_levels([])
