"""The days of a trip as a calendar file: a whole-day entry a day, with what is eaten.

RFC 5545: the same UID for the same day of the same trip, SEQUENCE raised with every change, so that a
calendar that reads it again moves the days instead of doubling them.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.trip_menu_shapes import SheetShown

_HOST = "trips.saltfare.invalid"


def trip_calendar(
    words: Words, shown: SheetShown, said: dict[str, Any], *, version: int, at: datetime
) -> bytes:
    """The days as iCalendar. said: the sheet in words; version: of the trip's stream."""
    from icalendar import Calendar, Event

    made = Calendar()
    made.add("prodid", "-//Saltfare//trip//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", shown.name)
    for day, told in zip(shown.menu.days, said["days"], strict=True):
        event = Event()
        event.add("uid", f"{shown.code}-{day.day}@{_HOST}")
        event.add("sequence", version)
        event.add("dtstamp", at)
        event.add("dtstart", day.on)
        event.add("dtend", day.on + timedelta(days=1))
        event.add("transp", "OPAQUE")
        event.add("categories", ["Saltfare"])
        event.add("summary", words.t("trips.calendar.summary", name=shown.name, n=day.day + 1))
        event.add("description", "\n".join([*_meals(told), told["totals"]]))
        made.add_component(event)
    return bytes(made.to_ical())


def _meals(told: dict[str, Any]) -> list[str]:
    out = []
    for sitting in told["sittings"]:
        foods = "; ".join(
            " ".join(filter(None, (line["name"], f"({line['for_whom']})", line["water"], line["minutes"])))
            for line in sitting["lines"]
        )
        said = " ".join(filter(None, (foods, sitting["without"])))
        out.append(f"{sitting['title']}: {said}")
    return out
