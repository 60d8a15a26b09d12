"""From volts to events: edges, pulses, levels.

Positions are integer ticks of 1/256 sample (`TICKS_PER_SAMPLE`), counted from the recording's first sample: exact at
any length, the same however the samples arrived.
"""

TICKS_PER_SAMPLE = 256
