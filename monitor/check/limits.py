"""What wires should read with the key on and the engine off, where the set-up's limits do not say it."""

FEED_DROP_V = 0.5
"""Feed within 0.5 V of the battery, key on (service literature)."""

BATTERY_REST_V = (12.0, 12.8)
"""A rested 12 V battery, half charged to full (common practice, no source)."""

SUPPLY_V = (10.5, 16.0)
"""Lowest and highest supply of the narrowest 12 V class (ISO 16750-2, code D); beyond it something is wrong."""

CHARGING_V = 15.0
"""What an input on the feed must be able to show once the engine runs: charging stays below it (common practice)."""

CONTROL_LEAST_V = -0.5
"""A driver's input has nothing that pulls it below ground; more is a ground clip in the wrong place."""

CLAMP_ZERO_A = 0.5
"""No coil charges with the engine off; a clamp that shows more wants its zero set (common practice, no source)."""

NOISE_V = (0.4, 1.0)
"""Peak to peak: up to the hysteresis of a coil's driver input (0.4 V, a data sheet) it is harmless; beyond 1 V it
takes the room that a low of 0.8 V has left."""

FLOATING_HUM_V = 0.5
"""Mains hum, peak to peak, that no wire with something at its end picks up (common practice, no source)."""
FLOATING_SHARE = 0.6
"""Share of all that moves on the wire, from which on it is hum and nothing else."""

NOTHING_V = 0.3
"""A wire with no more on it than this has nothing on it."""

STEP_V = {"feed": 0.25, "logic": 0.1}
"""The coarsest step of a converter that still serves: half of 0.5 V below the battery; a fifth of the 0.5 V that a
line may leave its 5 V."""

LEAST_HZ, USUAL_HZ = 8_000.0, 20_000.0
"""Four samples of an answer of 0.5 ms, as the analysis needs; and what leaves room for its times."""

SHORTEST_S = 0.5
"""Less is no look at a wire: mains hum and a loose contact need a moment to show."""

RUNNING_PULSES = 3
"""Calls or answers from which on the engine turns; one or two may be a controller trying its outputs."""

CLIPPED_SAMPLES = 3
"""So many at the end of the range are the range, one may be a glitch (as in the analysis)."""
