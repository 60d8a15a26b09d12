"""The engine and the hookup, as the set-up file states them."""

from collections.abc import Iterator
from enum import StrEnum
from itertools import pairwise
from typing import Annotated, Self

from pydantic import Field, PrivateAttr, model_validator

from monitor.setup.fields import Cylinder, Number, Table, Text, Whole, Wrong
from monitor.setup.limits import Limits


class Role(StrEnum):
    """What a wire does; analysis and colour go by it."""

    SUPPLY = "supply"
    BATTERY = "battery"
    GROUND = "ground"
    CONTROL = "control"
    ACKNOWLEDGEMENT = "acknowledgement"
    CURRENT = "current"
    INJECTOR = "injector"
    MARKER = "marker"


OF_ONE_CYLINDER = {Role.CONTROL, Role.INJECTOR}
MAY_BE_OF_ONE_CYLINDER = OF_ONE_CYLINDER | {Role.GROUND, Role.CURRENT, Role.MARKER}


class Vehicle(Table):
    """Free text, shown with the results."""

    label: Annotated[str, Field(max_length=500)] = ""
    """How the workshop calls this car."""


class Engine(Table):
    """Who fires when."""

    cylinders: Annotated[Cylinder, Field(examples=[6])]
    """1 to 16: the numbers that `firing_order` and the channels use."""

    firing_order: Annotated[tuple[Whole, ...], Field(examples=[[1, 4, 2, 5, 3, 6]])]
    """Every cylinder once; no default, because makers number them differently."""

    sparks_per_cycle: Annotated[Whole, Field(ge=1, le=2)] = 1
    """Turns of a cylinder in a cycle: 1; or 2 with waste spark, where a coil serves cylinders half a cycle apart."""

    firing_angles_deg: tuple[Number, ...] | None = None
    """Crank angle of each turn of `firing_order`; evenly spaced unless said, as nearly all engines are."""

    strokes: Annotated[Whole, Field(ge=2, le=4, multiple_of=2)] = 4
    """2 or 4; a cycle is 360 or 720 degrees of crank."""

    @property
    def cycle_deg(self) -> float:
        """Degrees of crank in which every cylinder's power stroke comes once."""
        return 180.0 * self.strokes

    @property
    def turn_angles_deg(self) -> tuple[float, ...]:
        """Crank angle of each turn of `firing_order` from the first: as stated, otherwise evenly spaced."""
        even = tuple(self.cycle_deg * turn / self.cylinders for turn in range(self.cylinders))
        return self.firing_angles_deg or even

    @model_validator(mode="after")
    def _order_is_a_permutation(self) -> Self:
        if sorted(self.firing_order) != list(range(1, self.cylinders + 1)):
            shown = list(self.firing_order[:20])
            raise Wrong(f"{shown} does not name each of the cylinders 1 to {self.cylinders} once", "firing_order")
        return self

    @model_validator(mode="after")
    def _angles_fit_the_cycle(self) -> Self:
        angles = self.firing_angles_deg
        if angles is None:
            return self
        if len(angles) != self.cylinders:
            raise Wrong(f"{len(angles)} angles for {self.cylinders} cylinders; give one each", "firing_angles_deg")
        if any(b <= a for a, b in pairwise(angles)):
            raise Wrong("the angles do not ascend; give them in firing order", "firing_angles_deg")
        if angles[0] < 0.0 or angles[-1] >= self.cycle_deg:
            raise Wrong(
                f"the angles leave the cycle; keep them from 0 to below {self.cycle_deg:g}", "firing_angles_deg"
            )
        return self

    @model_validator(mode="after")
    def _waste_spark_has_pairs(self) -> Self:
        if self.sparks_per_cycle == 1:
            return self
        if self.cylinders % 2:
            raise Wrong(f"2 needs cylinders in pairs and there are {self.cylinders}; use 1", "sparks_per_cycle")
        if self.strokes != 4:
            raise Wrong("2 needs a four-stroke engine; use 1 with strokes = 2", "sparks_per_cycle")
        half, angles = self.cylinders // 2, self.turn_angles_deg
        if any(abs(angles[i + half] - angles[i] - 360.0) > 1e-6 for i in range(half)):
            raise Wrong("with waste spark the second half must follow the first 360 degrees later", "firing_angles_deg")
        return self


class Channel(Table):
    """One connected wire."""

    input: Annotated[Text, Field(examples=["in1"])]
    """The instrument's input, or the name of the file's column; capitals do not matter."""

    role: Annotated[Role, Field(examples=["control"])]
    """What the wire does."""

    cylinder: Cylinder | None = None
    """Whose wire it is: needed for a control and an injector, never said of what all cylinders share."""

    cylinders: Annotated[tuple[Cylinder, ...], Field(min_length=1)] | None = None
    """Who answers on this acknowledgement line: all of them unless said, as one shared line is the rule."""

    scale: Annotated[Number, Field(ge=-1e6, le=1e6)] = 1.0
    """Volts at the wire per volt at the input: 10 behind a 10:1 attenuator, negative where leads are swapped."""

    offset_v: Annotated[Number, Field(ge=-1e6, le=1e6)] = 0.0
    """Volts at the wire where scale alone would give 0: for an input with a bias."""

    @model_validator(mode="after")
    def _keys_fit_the_role(self) -> Self:
        if self.scale == 0.0:
            raise Wrong("0 would make every sample 0 V; use 1.0 for a direct connection", "scale")
        if self.role in OF_ONE_CYLINDER and self.cylinder is None:
            raise Wrong(f"missing; say which cylinder this {self.role} belongs to", "cylinder")
        if self.role is Role.ACKNOWLEDGEMENT and self.cylinder is not None:
            raise Wrong(f"an acknowledgement line takes a list; write cylinders = [{self.cylinder}]", "cylinder")
        if self.role not in MAY_BE_OF_ONE_CYLINDER and self.cylinder is not None:
            raise Wrong(f"a {self.role} belongs to no single cylinder; leave it out", "cylinder")
        if self.role is not Role.ACKNOWLEDGEMENT and self.cylinders is not None:
            raise Wrong(f"only an acknowledgement line takes it, and this is a {self.role}; leave it out", "cylinders")
        if len(set(self.cylinders or ())) != len(self.cylinders or ()):
            raise Wrong("a cylinder stands there twice; name each once", "cylinders")
        return self


class Setup(Table):
    """A whole set-up file. `name` and `text` are the file's own, for messages and for keeping beside samples."""

    vehicle: Vehicle = Vehicle()
    """Optional."""

    engine: Engine
    """Needed: the roll cannot be called without it."""

    channel: Annotated[tuple[Channel, ...], Field(min_length=1, max_length=64)]
    """What is connected; one table for each wire."""

    limits: Limits = Limits()
    """Optional: every limit has a default."""

    _name: str = PrivateAttr(default="set-up")
    _text: str = PrivateAttr(default="")

    @property
    def name(self) -> str:
        """The file this came from."""
        return self._name

    @property
    def text(self) -> str:
        """The file's text, unchanged."""
        return self._text

    def model_post_init(self, context: object, /) -> None:
        """Keep name and text, which `parse_setup` hands in as context."""
        if isinstance(context, dict):
            self._name, self._text = context["name"], context["text"]

    def answering(self, channel: Channel) -> tuple[int, ...]:
        """Give the cylinders that answer on this acknowledgement line."""
        return channel.cylinders or tuple(range(1, self.engine.cylinders + 1))

    @model_validator(mode="after")
    def _cylinders_exist(self) -> Self:
        for index, channel in enumerate(self.channel):
            named = {"cylinder": (channel.cylinder,), "cylinders": channel.cylinders or ()}
            for key, numbers in named.items():
                beyond = [n for n in numbers if n is not None and n > self.engine.cylinders]
                if beyond:
                    text = f"there is no cylinder {beyond[0]}; this engine has 1 to {self.engine.cylinders}"
                    raise Wrong(text, "channel", index, key)
        return self

    @model_validator(mode="after")
    def _nothing_is_connected_twice(self) -> Self:
        taken: dict[tuple[str, object], int] = {}
        for index, channel in enumerate(self.channel):
            for key, claim, words in self._claims(channel):
                first = taken.setdefault((key, claim), index)
                if first != index:
                    text = f"{words} is on channel[{first + 1}] already; give each its own"
                    raise Wrong(text, "channel", index, key.split()[-1])
        return self

    def _claims(self, channel: Channel) -> Iterator[tuple[str, object, str]]:
        """List what only one channel may have: (kind of claim ending in the key, what is claimed, in words)."""
        yield "input", channel.input.casefold(), f'input "{channel.input}"'
        if channel.role in OF_ONE_CYLINDER:
            yield f"{channel.role} cylinder", channel.cylinder, f"the {channel.role} of cylinder {channel.cylinder}"
        if channel.role is Role.ACKNOWLEDGEMENT:
            for cylinder in self.answering(channel):
                yield "cylinders", cylinder, f"the answer of cylinder {cylinder}"

    @model_validator(mode="after")
    def _somebody_is_called_or_answers(self) -> Self:
        if not any(channel.role in (Role.CONTROL, Role.ACKNOWLEDGEMENT) for channel in self.channel):
            raise Wrong("no control and no acknowledgement among them; connect at least one", "channel")
        return self
