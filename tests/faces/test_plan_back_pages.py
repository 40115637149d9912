"""Plan back on the phone and in a calendar: wished, told, taken on and settled without script; the calendar
file read back by two parsers that know nothing of ours.

RFC 5545: 3.1 (CRLF, lines of 75 octets), 3.6.1 (UID and DTSTAMP), 3.8.7.4 (SEQUENCE), 3.8.1.11 (STATUS).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Site, parsed, running

from saltfare.actions import registry
from saltfare.faces.plan_charts import Line, PlanChart, PlanLabels, plan_spec, plan_svg

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)
HOSTILE = "<script>alert(1)</script>; stew,\\n \u202e & 'x'"
NEAR = (NOW.date() + timedelta(days=14)).isoformat()


class Clock:
    at = NOW

    def __call__(self) -> datetime:
        return self.at


@contextmanager
def _household(folder: Path) -> Iterator[Site]:
    with running(folder, clock=Clock()) as made:
        _do(
            made,
            "describe_chamber",
            name="Cupboard",
            temperature="13 C",
            humidity="70 %",
            air_speed="0.1 m/s",
        )
        yield made


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    with _household(tmp_path_factory.mktemp("planned")) as made:
        yield made


@pytest.fixture
def accepted(tmp_path: Path) -> Iterator[Site]:
    """A plan taken on, by the forms of its page."""
    with _household(tmp_path) as made:
        _take_on(made)
        yield made


def _do(site: Site, name: str, /, **given: Any) -> Any:
    return registry.run(name, site.house.context(), given)


def _form(site: Site, heading: str, action: str, values: dict[str, str]) -> Any:
    """Send the form below a heading, as a browser without script would."""
    page = site.page("/plan-back")
    forms = [f for f in page.all("form") if f.attrs.get("action") == action]
    form = next(f for f in forms if {n.attrs.get("name") for n in f.all("input", "select")} >= set(values))
    from page_site import filled

    return site.post(action, filled(page, form) | values)


def _take_on(site: Site) -> None:
    page = site.page("/plan-back")
    assert "Nothing is wished for yet" in page.text
    told = _form(site, "Room", "/plan-back/room", {"hooks.cupboard": "2", "trays_area": "0.6"})
    assert told.status_code == 200 and "The room is kept." in told.text
    wished = _form(
        site, "A dish", "/plan-back/wish",
        {"name": HOSTILE, "dish.packs": "4", "dish.tray_mass": "450", "needed_by": NEAR},
    )  # fmt: skip
    assert wished.status_code == 200 and "It is wished for." in wished.text
    assert "<script>alert" not in wished.text and "&lt;script&gt;" in wished.text
    page = parsed(wished.text)
    assert "Begin by" in page.text and "Day by day" in page.text
    days = [li.text for li in page.all("li") if li.parent and li.parent.attrs.get("class") == "lines"]
    assert any("Shop for it" in day for day in days) and any("Fill and close" in day for day in days)
    assert all(svg.attrs.get("role") == "img" for svg in page.all("svg") if "aria-label" in svg.attrs)
    # the table beside the picture holds what the picture shows
    rows = [row.text for row in page.all("tr")]
    assert any(HOSTILE.split(";")[1].split(",")[0].strip() in row for row in rows)
    took = _form(site, "", "/plan-back/accept", {"chance": "level_mid"})
    assert "The plan is taken on" in took.text and "This plan is taken on." in took.text


def test_from_an_empty_page_to_a_plan_taken_on(accepted: Site) -> None:
    site = accepted
    # away over the start: the plan differs, and says so
    start = _do(site, "back_plan").wants[0].makes[0].start
    away = _form(site, "", "/plan-back/away", {"first": start.isoformat(), "last": start.isoformat()})
    assert "The days are kept." in away.text and "It differs from the plan you took on" in away.text


def test_what_cannot_be_used_is_said_at_its_field(site: Site) -> None:
    gone = _form(
        site, "", "/plan-back/wish",
        {"name": "Late", "dish.packs": "4", "dish.tray_mass": "450", "needed_by": "2020-01-01"},
    )  # fmt: skip
    assert gone.status_code == 422 and "is not ahead of today" in gone.text
    field = next(n for n in parsed(gone.text).all("input") if n.attrs.get("id") == "dish-needed_by")
    assert field.attrs["value"] == "2020-01-01" and field.attrs["aria-invalid"] == "true"
    none = _form(
        site, "", "/plan-back/wish",
        {"name": "None", "cured.mass": "0", "cured.thickness": "50", "cured.cut": "pork_loin",
         "cured.purpose": "pot", "needed_by": NEAR},
    )  # fmt: skip
    assert none.status_code == 422
    field = next(n for n in parsed(none.text).all("input") if n.attrs.get("id") == "cured-cured.mass")
    assert field.attrs["aria-invalid"] == "true" and field.attrs["value"] == "0"
    back = _form(site, "", "/plan-back/away", {"first": "2026-05-02", "last": "2026-05-01"})
    assert back.status_code == 422 and "lies before the first" in back.text
    assert site.get("/plan-back?trip=NOTRIP1").status_code in (404, 422)


def test_a_task_is_settled_from_the_bench(accepted: Site) -> None:
    site = accepted
    bench = site.page("/")
    assert "From the plan" in bench.text
    feed = {e.id: e for e in _do(site, "calendar_feed").entries}
    assert any(form.attrs.get("action") == "/plan-back/task" for form in bench.all("form"))
    form = next(f for f in bench.all("form") if f.attrs.get("action") == "/plan-back/task")
    given = {n.attrs["name"]: n.attrs["value"] for n in form.all("input") if "name" in n.attrs}
    done = site.post("/plan-back/task", {**given, "how": "done"})
    assert done.status_code == 200 and "The task is settled." in done.text
    assert feed[given["task"]].status == "open"
    assert next(e for e in _do(site, "calendar_feed").entries if e.id == given["task"]).status == "done"


def test_the_calendar_is_read_back_by_two_parsers(accepted: Site) -> None:
    import icalendar
    import vobject

    site = accepted

    def read() -> tuple[bytes, dict[str, Any], dict[str, Any]]:
        answer = site.get("/plan-back.ics")
        assert answer.headers["content-type"].startswith("text/calendar")
        first = icalendar.Calendar.from_ical(answer.content)
        ours = {str(e["uid"]): e for e in first.walk("VEVENT")}
        second = vobject.readOne(answer.content.decode())
        theirs = {str(e.uid.value): e for e in second.vevent_list}
        return answer.content, ours, theirs

    content, ours, theirs = read()
    entries = {f"{e.id}@tasks.saltfare.invalid": e for e in _do(site, "calendar_feed").entries}
    assert set(ours) == set(theirs) == set(entries)
    for line in content.split(b"\r\n"):
        assert len(line) <= 75 and b"\n" not in line
        line.decode("utf-8")  # folded between characters, never inside one
    for uid, entry in entries.items():
        one, two = ours[uid], theirs[uid]
        assert one.decoded("dtstart") == two.dtstart.value == entry.on
        assert one.decoded("dtend") == two.dtend.value == entry.last + timedelta(days=1)
        assert int(one["sequence"]) == int(two.sequence.value) == entry.sequence
        assert one.decoded("dtstamp") == two.dtstamp.value == entry.changed_at.replace(microsecond=0)
        assert HOSTILE.split(",")[0] in str(one["summary"]) and str(one["summary"]) == two.summary.value
        assert str(one["status"]) == ("CANCELLED" if entry.status == "cancelled" else "CONFIRMED")
    # moved and cancelled: the same names, higher numbers
    _do(site, "wish_stock", name="Hash", dish={"packs": 2, "tray_mass": "400 g"}, needed_by=NEAR)
    key = _do(site, "plan_room").wishes[0].key
    _do(site, "drop_wish", key=key)
    _do(site, "accept_plan")
    _, after, _ = read()
    open_before = [uid for uid, e in entries.items() if e.status == "open"]
    assert open_before and all(str(after[uid]["status"]) == "CANCELLED" for uid in open_before)
    assert all(int(after[uid]["sequence"]) == entries[uid].sequence + 1 for uid in open_before)
    assert set(entries) < set(after)


def test_all_pieces_of_a_chamber_have_a_page(site: Site) -> None:
    page = site.page("/chambers/cupboard/together")
    assert "Work it out" in page.text
    nothing = site.get("/chambers/cupboard/together?by=2026-05-01")
    assert nothing.status_code == 422 and "Nothing hangs in Cupboard" in nothing.text
    assert site.get("/chambers/attic/together").status_code == 404
    gone = site.get("/chambers/cupboard/together?by=2020-05-01")
    assert gone.status_code == 422 and "not ahead of today" in gone.text


def chart(*lines: Line) -> PlanChart:
    words = PlanLabels("A plan", "away", "today", "%-d %b", ("Jan",) * 12, ("Mon",) * 7)
    return PlanChart(lines, ((date(2026, 3, 10), date(2026, 3, 12)),), date(2026, 3, 2), words)


def test_the_picture_fits_a_phone_and_lies_where_the_days_do() -> None:
    lines = (
        Line("Loin", date(2026, 3, 5), date(2026, 3, 20), date(2026, 5, 1), date(2026, 4, 2),
             date(2026, 4, 12), date(2026, 6, 2)),
        Line("Stew", date(2026, 4, 20), date(2026, 4, 22), date(2026, 5, 1), None, None, None),
    )  # fmt: skip
    svg = str(plan_svg(chart(*lines), 320))
    width = float(re.search(r'width="([\d.]+)"', svg).group(1))  # type: ignore[union-attr]
    assert width <= 330 and "Loin" in svg and "Stew" in svg
    spec = plan_spec(chart(*lines), 320)
    boxes = {layer["name"]: spec["datasets"].get(layer["data"].get("name"), layer["data"].get("values"))
             if "datasets" in spec else layer["data"]["values"] for layer in spec["layer"]}  # fmt: skip
    day = 86_400_000.0
    assert boxes["cold"][0]["to"] - boxes["cold"][0]["from"] == 15 * day
    assert boxes["drying"][0]["to"] - boxes["drying"][0]["from"] == 43 * day
    assert boxes["likely"][0]["from"] - boxes["drying"][0]["from"] == 13 * day
    assert len(boxes["likely"]) == 1 and len(boxes["done"]) == 2
    assert boxes["away"][0]["to"] - boxes["away"][0]["from"] == 3 * day


def test_a_chance_that_rests_on_room_nobody_told_says_so_itself(tmp_path: Path) -> None:
    with _household(tmp_path) as site:
        _do(
            site, "wish_stock", name="Stew", dish={"packs": 4, "tray_mass": "450 g"}, needed_by=NEAR
        )  # fmt: skip
        page = site.page("/plan-back")
        said = [dd.text for dd in page.all("dd") if "%" in dd.text or "in 100" in dd.text]
        said += [td.text for td in page.all("td") if td.attrs.get("data-label") == "Chance"]
        assert len(said) >= 3
        assert all(", if " in one and "the trays take it" in one for one in said), said
        figure = next(f for f in page.all("figcaption") if "Each line" in f.text)
        assert "The days hold if" in figure.text and "the trays take it" in figure.text
        labels = [svg.attrs["aria-label"] for svg in page.all("svg") if "aria-label" in svg.attrs]
        assert labels and all("the trays take it" in label for label in labels)
        _do(site, "accept_plan")
        made = re.sub(r"\r\n ", "", site.get("/plan-back.ics").text)
        events = made.split("BEGIN:VEVENT")[1:]
        assert events and all("This day holds if" in one and "the trays take it" in one for one in events)
        _do(
            site, "set_capacity", trays_area="5", freezer_volume="40 l", fridge_volume="40 l", fridge_places=9
        )
        page = site.page("/plan-back")
        assert "the trays take it" not in page.text and "The days hold if" not in page.text
