"""The order in which turns come round, and how far apart they stand."""

from dataclasses import dataclass

from monitor.setup import Engine


@dataclass(frozen=True, slots=True)
class Rota:
    """The turns of one period of the coils: a cycle, or with waste spark half of one.

    `places[p]` are the cylinders whose coil fires at place p; `starts[p]` is where that place stands, in mean turns
    from the period's beginning (0, 1, 2, … when firing is even). `period_rev` is the period in crank revolutions.
    """

    places: tuple[tuple[int, ...], ...]
    starts: tuple[float, ...]
    period_rev: float

    @classmethod
    def of(cls, engine: Engine) -> "Rota":
        """Read it off the set-up's engine."""
        places = len(engine.firing_order) // engine.sparks_per_cycle
        period_deg = engine.cycle_deg / engine.sparks_per_cycle
        turn_deg = period_deg / places
        return cls(
            tuple(engine.firing_order[place::places] for place in range(places)),
            tuple((angle - engine.turn_angles_deg[0]) / turn_deg for angle in engine.turn_angles_deg[:places]),
            period_deg / 360.0,
        )

    @property
    def size(self) -> int:
        """Turns in a period."""
        return len(self.places)

    @property
    def is_even(self) -> bool:
        """Whether all turns stand equally far apart."""
        return all(abs(start - place) < 1e-9 for place, start in enumerate(self.starts))

    @property
    def turn_deg(self) -> float:
        """Degrees of crank of a mean turn."""
        return 360.0 * self.period_rev / self.size

    def place_of(self, cylinder: int) -> int:
        """Place at which this cylinder's coil fires."""
        return next(place for place, cylinders in enumerate(self.places) if cylinder in cylinders)

    def stand(self, turn: int) -> float:
        """Where turn number `turn` stands, in mean turns from turn 0."""
        periods, place = divmod(turn, self.size)
        return periods * self.size + self.starts[place]

    def way(self, turn: int, turns: int) -> float:
        """Mean turns of crank angle from turn number `turn` to the one `turns` further on."""
        return self.stand(turn + turns) - self.stand(turn)

    def turn_ticks(self, rpm: float, tick_rate_hz: float) -> float:
        """Ticks of a mean turn at this speed."""
        return 60.0 / rpm * self.period_rev / self.size * tick_rate_hz

    def rpm(self, turn_ticks: float, tick_rate_hz: float) -> float:
        """Engine speed at which a mean turn lasts this long."""
        return 60.0 * self.period_rev / self.size * tick_rate_hz / turn_ticks
