"""Who fires, and whom the connected wires show."""

from monitor.firing.rota import Rota


class Crew:
    """What the readings share: the rota, whose controls are connected, and below which speed sparks are repeated."""

    def __init__(self, rota: Rota, called: frozenset[int], answering: frozenset[int], repeat_pace: float) -> None:
        """`called` cylinders have their control connected, `answering` ones an acknowledgement line.

        `repeat_pace` is ticks of a mean turn above which (so, speeds below which) repeated sparks are usual.
        """
        self.rota = rota
        self.called = called
        self.answering = answering
        self.seen = called | answering
        self.seen_places = frozenset(rota.place_of(cylinder) for cylinder in self.seen)
        self.repeat_pace = repeat_pace
        self.called_places = frozenset(rota.place_of(cylinder) for cylinder in called)
        self._places: dict[frozenset[int], frozenset[int] | None] = {}

    def places_of(self, cylinders: frozenset[int]) -> frozenset[int] | None:
        """Places at which these cylinders fire; None for all of them."""
        if cylinders not in self._places:
            places = frozenset(self.rota.place_of(cylinder) for cylinder in cylinders)
            self._places[cylinders] = None if 1 < len(places) == self.rota.size else places
        return self._places[cylinders]
