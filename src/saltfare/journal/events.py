"""What an event is: its envelope, its body, its hash, and how an old body is read.

A body is an observation as typed and as parsed; a result is kept only where it left the house. The
body is stored as canonical JSON and never rewritten: a later version of a kind brings a function
that lifts the older body when it is read.

Each kind is a class: `class Weighed(Body, kind="weighed")`. Kinds of one part of the page live in one
module (`events_piece`, `events_chamber`); those of any stream are here.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Annotated, Any, ClassVar, Literal
from zoneinfo import ZoneInfo

from pydantic import AwareDatetime, Field, JsonValue, PlainSerializer, PlainValidator, WithJsonSchema
from pydantic import ValidationError as _Invalid

from saltfare.core.errors import JournalNewer, Problem, Refused
from saltfare.core.fields import Frozen, problems_of

GENESIS = "0" * 64
"""`prev_hash` of the first event."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

Stored = dict[str, Any]
Lift = Callable[[Stored], Stored]

_KINDS: dict[str, type[Body]] = {}


class Body(Frozen):
    """What happened. `reasons`: field -> why an unusual value is kept.

    kind and kind_version are the class's own and go into the envelope. `lifts[n]` turns a stored
    body of version n into one of version n + 1. A body that is not `observed` is a result that left
    the house; a repeated request may compute it anew and need not match it.
    """

    kind: ClassVar[str] = ""
    kind_version: ClassVar[int] = 1
    lifts: ClassVar[Mapping[int, Lift]] = {}
    observed: ClassVar[bool] = True

    reasons: dict[str, str] = Field(default_factory=dict)

    def __init_subclass__(cls, *, kind: str = "", **rest: Any) -> None:
        """Register the kind."""
        super().__init_subclass__(**rest)
        if not kind:
            return
        if kind in _KINDS:
            raise ValueError(f"the kind {kind} is declared twice")
        missing = set(range(1, cls.kind_version)) - set(cls.lifts)
        if missing:
            raise ValueError(f"{kind}: no lift from version {min(missing)}")
        cls.kind = kind
        _KINDS[kind] = cls

    def stored(self) -> Stored:
        """The body as it is stored, before it becomes text."""
        return self.model_dump(mode="json")


def kinds() -> Mapping[str, type[Body]]:
    """Every kind declared, by name."""
    return dict(_KINDS)


def decode(kind: str, kind_version: int, stored: Stored) -> Body:
    """The body of a stored event, lifted to the present version of its kind.

    Raises JournalNewer for a kind or version this program does not know, ValueError for a body that
    does not fit its kind.
    """
    cls = _KINDS.get(kind)
    if cls is None or kind_version > cls.kind_version:
        params: dict[str, str | float | int] = {"kind": kind, "version": kind_version}
        raise JournalNewer(Problem("event_kind_newer", params=params))
    for version in range(kind_version, cls.kind_version):
        stored = cls.lifts[version](dict(stored))
    return cls.model_validate(stored)


def _wrap(body: Body | None) -> JsonValue:
    if body is None:
        return None
    return {"kind": body.kind, "kind_version": body.kind_version, "body": body.stored()}


def _unwrap(given: Any) -> Body | None:
    if given is None or isinstance(given, Body):
        return given
    if not isinstance(given, dict) or set(given) != {"kind", "kind_version", "body"}:
        raise ValueError("not a wrapped body")
    return decode(given["kind"], given["kind_version"], given["body"])


AnyBody = Annotated[
    Body | None, PlainValidator(_unwrap), PlainSerializer(_wrap), WithJsonSchema({"type": ["object", "null"]})
]
"""A body inside a body, stored with its kind and version so that it too can be lifted."""


class Noted(Body, kind="noted"):
    """A remark on anything."""

    text: str = Field(min_length=1, max_length=4000)


class Corrected(Body, kind="corrected"):
    """The event named by the envelope's `corrects` was wrong; it stays readable.

    replace: `new` stands for its body, `new_at` for its time; what is None stays as it was.
    withdraw: it counts as never having happened. Withdrawing a correction undoes it.
    """

    what: Literal["replace", "withdraw"]
    new: AnyBody = None
    new_at: AwareDatetime | None = None
    reason: str = Field(default="", max_length=1000)


class SettingChanged(Body, kind="setting_changed"):
    """A setting of the household, as chosen; None puts it back to what the program brings."""

    name: str = Field(min_length=1, max_length=80)
    value: JsonValue = None


@dataclass(frozen=True, slots=True)
class Draft:
    """An event before it has a place in the journal."""

    stream: str
    body: Body
    at: datetime
    zone: str
    actor: str
    recorded_at: datetime
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class Record:
    """An event as stored: the envelope with every field as text or whole number."""

    seq: int
    id: str
    stream: str
    stream_version: int
    kind: str
    kind_version: int
    at: str
    zone: str
    recorded_at: str
    actor: str
    request_id: str | None
    corrects: str | None
    body: str
    prev_hash: str
    hash: str

    def digest(self) -> str:
        """What `hash` must be: SHA-256 of every other field, as canonical JSON in this order."""
        fields = [getattr(self, name) for name in ENVELOPE[:-1]]
        return sha256(canonical(fields).encode()).hexdigest()


ENVELOPE: tuple[str, ...] = tuple(Record.__dataclass_fields__)
"""The envelope's fields in order; the hash covers all before itself in this order."""


@dataclass(frozen=True, slots=True)
class Event:
    """An event as read: times are instants, the body is lifted and typed."""

    seq: int
    id: str
    stream: str
    stream_version: int
    kind: str
    kind_version: int
    at: datetime
    zone: str
    recorded_at: datetime
    actor: str
    request_id: str | None
    corrects: str | None
    body: Body
    prev_hash: str
    hash: str

    @property
    def local(self) -> datetime:
        """When it happened, on the clock of the place."""
        return self.at.astimezone(ZoneInfo(self.zone))


def event_of(record: Record) -> Event:
    """The event a record holds. Raises ValueError where the record is not what was written."""
    if record.digest() != record.hash:
        raise ValueError(f"event {record.seq} does not match its hash")
    body = decode(record.kind, record.kind_version, json.loads(record.body))
    return Event(
        record.seq,
        record.id,
        record.stream,
        record.stream_version,
        record.kind,
        record.kind_version,
        instant(record.at),
        record.zone,
        instant(record.recorded_at),
        record.actor,
        record.request_id,
        record.corrects,
        body,
        record.prev_hash,
        record.hash,
    )


def body_text(body: Body) -> str:
    """The canonical JSON of a body. Raises Refused where it would not be read back as it is.

    Frozen models can still be built past their checks; nothing that cannot be read may be stored.
    """
    unstorable = Refused(Problem("event_not_storable", params={"kind": body.kind}))
    try:
        text = canonical(body.stored())
        text.encode()
        again = type(body).model_validate(json.loads(text))
    except _Invalid as error:
        raise Refused(*problems_of(error)) from None
    except (ValueError, RecursionError):
        raise unstorable from None
    # texts, not bodies: equality of instants in two zones fails where a clock is set back or forth
    if canonical(again.stored()) != text or _KINDS.get(body.kind) is not type(body):
        raise unstorable
    return text


def canonical(value: Any) -> str:
    """JSON with one spelling: sorted keys, no blanks, no escapes but those JSON demands, no NaN."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def instant_text(at: datetime) -> str:
    """An instant as stored: UTC, microseconds, fixed width, so that text sorts as time."""
    if at.tzinfo is None or at.utcoffset() is None:
        raise Refused(Problem("instant_without_zone", "at", at.isoformat()))
    try:
        moved = at.astimezone(UTC)
    except OverflowError:
        raise Refused(Problem("instant_out_of_calendar", "at", at.isoformat())) from None
    return f"{moved.year:04d}" + moved.strftime("-%m-%dT%H:%M:%S.%fZ")


def instant(text: str) -> datetime:
    """The instant of a stored text. Raises ValueError."""
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError(f"{text} has no zone")
    return at


def uuid7(at: datetime, entropy: Callable[[int], bytes]) -> str:
    """A UUID of version 7 (RFC 9562, section 5.7): 48 bits of milliseconds, 74 bits of chance."""
    millis = (at - _EPOCH) // timedelta(milliseconds=1) & ((1 << 48) - 1)
    chance = int.from_bytes(entropy(10), "big")
    value = millis << 80 | 0x7 << 76 | (chance >> 62 & 0xFFF) << 64 | 0b10 << 62 | chance & ((1 << 62) - 1)
    text = f"{value:032x}"
    return "-".join((text[:8], text[8:12], text[12:16], text[16:20], text[20:]))


_STREAM = re.compile(r"[a-z][a-z_]{0,39}(/[0-9A-Za-z][0-9A-Za-z_.-]{0,63})?")
_LONGEST = {"actor": 80, "request_id": 200}


def check_names(*, stream: str, zone: str, actor: str, request_id: str | None) -> None:
    """Refuse names that would not do for good: every event keeps them."""
    if not _STREAM.fullmatch(stream):
        raise Refused(Problem("stream_name", "stream", stream[:80]))
    try:
        ZoneInfo(zone)
    except (ValueError, OSError, KeyError):
        raise Refused(Problem("zone_unknown", "zone", zone[:80], "Europe/Vienna")) from None
    for field, given in (("actor", actor), ("request_id", request_id)):
        if given is not None and not (0 < len(given) <= _LONGEST[field] and is_text(given)):
            allowed = str(_LONGEST[field])
            raise Refused(Problem("name_length", field, repr(given)[:80], allowed, {"most": _LONGEST[field]}))


def is_text(text: str) -> bool:
    """Can be written as UTF-8: no half of a surrogate pair."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
