"""The messages, spelt out: what TOPICS.md describes, made from our records and read from anybody's bytes.

Whoever reads takes keys that a later version may add and leaves them alone. Figures are bounded, so that no message can
say something that a screen could not show; long text is cropped on both sides.
"""

import math
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, computed_field

from acquire.errors import FormatError
from monitor.findings.finding import Confidence, Finding
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.publish.outcomes import RECENT_PATTERN
from monitor.setup import Role
from monitor.source_view import SourceState

_LONGEST_TEXT = 2000


def _known(value: object) -> object:
    """A figure that is not finite is unknown."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _schema(name: str) -> Any:  # noqa: ANN401  as Field itself
    return Field(name, validation_alias="schema", serialization_alias="schema")


Text = Annotated[str, AfterValidator(lambda text: text[:_LONGEST_TEXT])]
Word = Annotated[str, Field(pattern=r"^[a-z -]{1,20}$")]
"""One of ours: a later version may have more of them, but none that a screen must be kept from."""
Seconds = Annotated[float, Field(ge=-1e9, le=1e9)]
Whole = Annotated[int, Field(ge=0, le=10**12)]
Figure = Annotated[Annotated[float, Field(ge=-1e9, le=1e9)] | None, BeforeValidator(_known)]
Cylinder = Annotated[int, Field(ge=1, le=99)]
Share = Annotated[float, Field(ge=0, le=1)]


class Part(BaseModel):
    """A piece of a message."""

    model_config = ConfigDict(frozen=True, extra="ignore", strict=True, populate_by_name=True)


class Message(Part):
    """A whole one; its `schema` says which, and in which version."""

    TOPIC: ClassVar[str]

    def encode(self) -> bytes:
        """As it goes over the wire: JSON in UTF-8."""
        return self.model_dump_json(by_alias=True).encode()


class Kept(Message):
    """One that is kept until the broker has it; of the same number the highest revision counts."""

    recording_id: Text
    number: Whole
    revision: Whole = 0

    @computed_field  # type: ignore[prop-decorator]
    @property
    def id(self) -> str:
        """The same in every copy of this message, and in no other."""
        return f"{self.recording_id}:{self.TOPIC}:{self.number}:{self.revision}"

    def revised(self, revision: int) -> Self:
        """The same with its revision."""
        return self.model_copy(update={"revision": revision})


class FlagMessage(Kept):
    """A flag as it is now; it comes again when it grows or clears."""

    TOPIC = "flag"
    schema_: Literal["coilcall.flag/1"] = _schema("coilcall.flag/1")
    kind: Kind
    severity: Severity
    cylinder: Cylinder | None = None
    input: Text | None = None
    start_s: Seconds
    end_s: Seconds | None = None
    count: Whole
    detail: Text

    def flag(self) -> Flag:
        """The record."""
        return Flag(
            self.number, self.kind, self.severity, self.cylinder, self.input,
            self.start_s, self.end_s, self.count, self.detail,
        )  # fmt: skip


class MarkMessage(Kept):
    """A moment that somebody felt."""

    TOPIC = "mark"
    schema_: Literal["coilcall.mark/1"] = _schema("coilcall.mark/1")
    time_s: Seconds
    by: Text
    note: Text = ""

    def mark(self) -> Mark:
        """The record."""
        return Mark(self.number, self.time_s, self.by, self.note)


class CylinderPart(Part):
    """One cylinder's counts since the start; `recent` are its latest turns, oldest first, a letter each."""

    cylinder: Cylinder
    turns: Whole
    called: Whole | None = None
    answered: Whole | None = None
    unanswered: Whole
    not_called: Whole
    not_observed: Whole
    recent: Annotated[str, Field(pattern=RECENT_PATTERN)]
    dwell_ms: Figure = None
    acknowledgement_delay_ms: Figure = None
    supply_sag_v: Figure = None


class LevelPart(Part):
    """What one input reads on average."""

    input: Text
    role: Role
    label: Text = ""
    volts: Figure = None


class TallyMessage(Message):
    """The roll so far, once a second."""

    TOPIC = "tally"
    schema_: Literal["coilcall.tally/1"] = _schema("coilcall.tally/1")
    recording_id: Text
    utc: Text
    time_s: Seconds
    state: Word
    rpm: Figure = None
    coverage: Share
    lost_samples: Whole
    flags_raised: Whole
    cylinders: Annotated[tuple[CylinderPart, ...], Field(max_length=99)]
    levels: Annotated[tuple[LevelPart, ...], Field(max_length=99)] = ()


class FindingPart(Part):
    """Where to look."""

    suspect: Text
    because: Text
    next: Text
    confidence: Confidence

    def finding(self) -> Finding:
        """The record."""
        return Finding(self.suspect, self.because, self.next, self.confidence)


class SourcePart(Part):
    """Where the samples come from, and how that goes."""

    address: Text
    state: SourceState
    reason: Text = ""
    sample_rate_hz: Figure = None
    simulated: bool = False
    times_lost: Whole = 0
    lost_at_s: Figure = None
    outage_s: Figure = None
    disk: Text = ""


class StateMessage(Message):
    """How it stands; retained, and what the broker says when we vanish: then `online` is false."""

    TOPIC = "state"
    schema_: Literal["coilcall.state/1"] = _schema("coilcall.state/1")
    recording_id: Text
    began_s: Seconds = 0.0
    utc: Text
    online: bool
    takes_commands: bool
    engine: Word
    rpm: Figure = None
    coverage: Share
    source: SourcePart
    acknowledgement_timing: Word | None = None
    findings: Annotated[tuple[FindingPart, ...], Field(max_length=99)] = ()
    flags: Annotated[tuple[FlagMessage, ...], Field(max_length=99)] = ()
    marks: Annotated[tuple[MarkMessage, ...], Field(max_length=99)] = ()
    messages_waiting: Whole = 0
    messages_dropped: Whole = 0
    commands_refused: Whole = 0
    refusal: Text = ""

    @property
    def run(self) -> tuple[str, float]:
        """Which recording it is of, and which run of it."""
        return self.recording_id, self.began_s


class CommandMessage(Message):
    """What somebody wants done; one with an id that was there already is not done again."""

    TOPIC = "command"
    schema_: Literal["coilcall.command/1"] = _schema("coilcall.command/1")
    command: Literal["mark", "stop"]
    id: Annotated[str, Field(max_length=64)] | None = None
    note: Annotated[str, Field(max_length=200)] = ""


M = TypeVar("M", bound=Message)


def decode(kind: type[M], payload: bytes) -> M:
    """Read one message. Raises FormatError, one line, for everything that is none."""
    try:
        message = kind.model_validate_json(payload)
    except ValidationError as error:
        raise FormatError(f"{kind.TOPIC} message: {_first(error)}") from None
    if "schema_" not in message.model_fields_set:
        raise FormatError(f"{kind.TOPIC} message: schema: it should say which message and version it is")
    return message


def _first(error: ValidationError) -> str:
    one: Any = error.errors(include_url=False, include_input=False, include_context=False)[0]
    where = ".".join(map(str, one["loc"]))
    return f"{where}: {one['msg']}" if where else str(one["msg"])
