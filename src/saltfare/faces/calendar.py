"""The accepted tasks as a calendar file: whole days, ids that stay, sequence numbers that rise.

RFC 5545: a UID for good, SEQUENCE raised with every change, STATUS:CANCELLED for what fell away, so that
a calendar that subscribes moves and removes instead of doubling.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import TYPE_CHECKING

from saltfare.core.errors import NotFound
from saltfare.core.figure import Note
from saltfare.core.glossary import entry as known
from saltfare.faces.words import Words, find

if TYPE_CHECKING:
    from icalendar import Event

    from saltfare.actions.calendar import CalendarShown, EntryShown

# a name nobody can have: an id needs one, and no address of the house belongs there
_HOST = "tasks.saltfare.invalid"
_STATUS = {"open": "CONFIRMED", "done": "CONFIRMED", "cancelled": "CANCELLED"}


def calendar_file(words: Words, feed: CalendarShown) -> bytes:
    """The feed as iCalendar, folded and with CRLF as the RFC asks."""
    from icalendar import Calendar, vDuration

    made = Calendar()
    made.add("prodid", "-//Saltfare//plan back//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", words.say("calendar.name"))
    made.add("refresh-interval", vDuration(timedelta(hours=6)), parameters={"VALUE": "DURATION"})
    for entry in feed.entries:
        made.add_component(_event(words, entry))
    return bytes(made.to_ical())


def _event(words: Words, entry: EntryShown) -> Event:
    from icalendar import Event

    made = Event()
    made.add("uid", f"{entry.id}@{_HOST}")
    made.add("sequence", entry.sequence)
    made.add("dtstamp", entry.changed_at)
    made.add("last-modified", entry.changed_at)
    made.add("dtstart", entry.on)
    made.add("dtend", entry.last + timedelta(days=1))
    made.add("status", _STATUS[entry.status])
    made.add("transp", "TRANSPARENT")
    made.add("categories", ["Saltfare"])
    what = words.say(f"task.{entry.code}.text")
    said = words.say("calendar.summary", {"what": what, "name": entry.name})
    if entry.status != "open":
        said = f"{said} ({words.say('calendar.' + entry.status)})"
    made.add("summary", said)
    told = [f"{label}: {value}" for label, value in amounts_said(words, entry.amounts)]
    told += [words.note(Note(code), "caution") for code in entry.cautions if not _fields(words, code)]
    if entry.room_open and entry.status == "open":
        told.append(words.say("calendar.room_open", {"room": room_said(words, entry.room_open)}))
    if told:
        made.add("description", "\n".join(told))
    if entry.place:
        made.add("location", entry.place)
    return made


def room_said(words: Words, places: Iterable[str]) -> str:
    """What must be so of places nobody told the room of: "the trays take it"."""
    return words.t("back_plan.room_and").join(words.t(f"back_plan.if_{place}") for place in places)


def _fields(words: Words, code: str) -> bool:
    """Whether a caution speaks of numbers that a task does not carry."""
    found = next(
        (find(f"{part}.{code}.text", words.tree) for part in ("caution", "note", "step")
         if words.has(f"{part}.{code}.text")), "{",
    )  # fmt: skip
    return "{" in found


def amounts_said(words: Words, amounts: dict[str, float]) -> list[tuple[str, str]]:
    """Amounts of a task by label and value, as people read them."""
    out = []
    for key, value in amounts.items():
        quantity, _, which = key.partition(":")
        try:
            kind = known(quantity).kind
        except NotFound:
            kind = "count"
        label = words.name(quantity)
        label = f"{label[:1].upper()}{label[1:]}" + (f": {which}" if which else "")
        out.append((label, words.shown.quantity(value, kind)))
    return out
