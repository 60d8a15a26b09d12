"""What a level beyond its limit means on each wire, and what to do next."""

from enum import Enum, auto

from monitor.check.verdict import Said, Verdict


class Side(Enum):
    """Where a level lies; FAR is beyond what any 12 V system has."""

    WITHIN = auto()
    NOTHING = auto()
    FAR_LOW = auto()
    LOW = auto()
    HIGH = auto()
    FAR_HIGH = auto()


class Subject(Enum):
    """Whose words these are: a feed stands beside a battery or alone, and a battery is always alone."""

    BESIDE_BATTERY = auto()
    ALONE = auto()
    LINE = auto()
    CONTROL = auto()
    GROUND = auto()
    CURRENT = auto()
    INJECTOR = auto()


_GONE = Said(
    Verdict.NOT_CONNECTED,
    "nothing on it: key off, fuse or relay, or the lead is off",
    "key on? Then measure at the fuse and at the relay's output",
)
_FLAT = Said(
    Verdict.WRONG,
    "too low for a 12 V system: a flat battery, or volts lost on the way from it",
    "measure at the battery's posts, then from there on; charge the battery before anything else",
)
_TOO_MUCH = Said(
    Verdict.WRONG,
    "more than a 12 V system has",
    "look at attenuator and scale; on a 24 V system these limits do not hold",
)

WORDS: dict[tuple[Subject, Side], Said] = {
    (Subject.BESIDE_BATTERY, Side.NOTHING): _GONE,
    (Subject.BESIDE_BATTERY, Side.LOW): Said(
        Verdict.WRONG,
        "the feed loses volts on its way from the battery, and will lose more with coils charging",
        "measure battery, fuse, relay and splice in turn, against battery negative: it is where the volts go",
    ),
    (Subject.BESIDE_BATTERY, Side.HIGH): Said(
        Verdict.DOUBTFUL,
        "more than the battery has: one of the two leads is scaled or grounded wrongly",
        "put both leads on battery positive: they must read the same",
    ),
    (Subject.ALONE, Side.NOTHING): _GONE,
    (Subject.ALONE, Side.FAR_LOW): _FLAT,
    (Subject.ALONE, Side.LOW): Said(
        Verdict.DOUBTFUL,
        "low for a rested battery: not charged, much switched on, or volts lost on the way",
        "measure at the battery's posts",
    ),
    (Subject.ALONE, Side.HIGH): Said(
        Verdict.DOUBTFUL,
        "more than a rested battery: just charged, a charger is on it, or the engine runs",
        "take the charger off and check again after some minutes",
    ),
    (Subject.ALONE, Side.FAR_HIGH): _TOO_MUCH,
    (Subject.LINE, Side.NOTHING): Said(
        Verdict.NOT_CONNECTED,
        "0 V: key off, the lead is off, no pull-up from the controller, or the line is held to ground",
        "key on? Then unplug the coils one by one, key off each time: back at 5 V, that coil or branch held it",
    ),
    (Subject.LINE, Side.LOW): Said(
        Verdict.WRONG,
        "rests too low: something loads it, or the controller's pull-up is weak",
        "unplug the coils one by one, key off each time; if it stays low, look at the wire to the controller",
    ),
    (Subject.LINE, Side.HIGH): Said(
        Verdict.WRONG,
        "rests too high: a leak from the feed, or the controller's 5 V is off",
        "key off, unplug controller and coils, measure from line to feed: it must be open",
    ),
    (Subject.CONTROL, Side.LOW): Said(
        Verdict.DOUBTFUL,
        "below 0 V: the lead's ground clip is not where the coil has its ground",
        "put the clip on battery negative",
    ),
    (Subject.CONTROL, Side.HIGH): Said(
        Verdict.WRONG,
        "not low at rest: its coil may be charging all the time and gets hot",
        "key off at once; unplug that coil, key on, check again: still high is the controller or its wire",
    ),
    (Subject.GROUND, Side.LOW): Said(
        Verdict.WRONG,
        "below battery negative: the lead's ground clip is on something that is lifted itself",
        "put the clip on battery negative itself, and check again",
    ),
    (Subject.GROUND, Side.HIGH): Said(
        Verdict.WRONG,
        "the coil's ground is lifted though no coil charges: a poor ground that another load shares",
        "measure from the coil's ground pin along its wire to battery negative: it is where the volts go",
    ),
    (Subject.INJECTOR, Side.NOTHING): Said(
        Verdict.NOT_CONNECTED,
        "0 V: the lead is off, or the injectors get their feed only once the engine turns",
        "check its lead, then look at it while cranking",
    ),
    (Subject.INJECTOR, Side.LOW): Said(
        Verdict.DOUBTFUL, "an injector that is shut rests at battery voltage", "look at its plug and its feed"
    ),
    (Subject.INJECTOR, Side.HIGH): _TOO_MUCH,
} | {
    (Subject.CURRENT, side): Said(
        Verdict.DOUBTFUL,
        "current with the engine off: the clamp's zero is off, or another load is in it",
        "take it off the wire, set its zero, put it back around one wire only",
    )
    for side in (Side.LOW, Side.HIGH)
}
