"""Many random corruptions of a frames stream: python -m tests.bench.corruption [N] [SEED]

Each is judged against what was sent: no sample wrong, no index going back, and every frame that came whole delivered.
"""

import sys
import time

import numpy as np

from tests.drivers.serial_board import damage


def main(rounds: int = 10_000, seed: int = 1) -> None:
    """Stop at the first that is wrong, and say how to see it again."""
    rng = np.random.default_rng(seed)
    sent = came = 0
    began_s = time.perf_counter()
    for number in range(rounds):
        counts = rng.choice([0, 1, -1, 256, 4095, -32768, 32767], (damage.INPUTS, 280)).astype(np.int16)
        counts += rng.integers(-3, 4, counts.shape).astype(np.int16)
        edits = damage.random_edits(rng, 2600, 6)
        try:
            came += damage.check(counts, edits, [int(cut) for cut in rng.integers(0, 10_000, 8)])
        except AssertionError as error:
            sys.exit(f"corruption {number} of seed {seed}: {error}: {edits}")
        sent += counts.shape[1]
    print(
        f"{rounds} corruptions: 0 wrong samples, {came} of {sent} samples came, {time.perf_counter() - began_s:.1f} s"
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
