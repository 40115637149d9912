"""A trip as the menu planner takes it: who needs what on which day, and everything that may be eaten."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil
from typing import Any

from saltfare.actions.context import Context
from saltfare.actions.judged_items import key_of_place
from saltfare.actions.trip_days import carries_of
from saltfare.actions.trip_items import Offered, offered, people_of
from saltfare.actions.trip_menu_shapes import ItemShown
from saltfare.actions.trip_need import NeedShown, need_of
from saltfare.actions.trip_offers import name_of_item
from saltfare.actions.trips import lacks
from saltfare.core.errors import Problem, Refused
from saltfare.jobs import key_of, model_version
from saltfare.journal.trip import TripState
from saltfare.journal.trip import trips as trip_states
from saltfare.models.trip_energy import KCAL_J
from saltfare.plans.menu_plain import plain, plan_plain
from saltfare.plans.menu_shapes import (
    BarItem,
    Carry,
    Day,
    Hold,
    Kitchen,
    MenuProblem,
    Plan,
    Preset,
    Rules,
    Sitting,
    problems_of_menu,
)
from saltfare.plans.menu_stages import Effort

_ANY_DAYS = 10_000
EFFORT = Effort()


@dataclass(frozen=True, slots=True)
class Posed:
    """A trip posed as a problem. shown: every item by id, those that do not enter too. lot_versions: of
    every lot looked at. start: the menu committed, as a plan of this problem; None where there is none."""

    state: TripState
    problem: MenuProblem
    need: NeedShown
    shown: Mapping[str, ItemShown]
    lot_versions: Mapping[str, int]
    start: Plan | None
    version: str

    def asked(self, preset: Preset) -> dict[str, Any]:
        """What the worker is given, as plain JSON."""
        return {
            "problem": plain(self.problem),
            "preset": preset.value,
            "effort": plain(EFFORT),
            "start": None if self.start is None else plan_plain(self.start),
        }

    def key(self, preset: Preset) -> str:
        """The name of this very planning: the same trip, shelf and program give the same."""
        return key_of(action="menu", given=self.asked(preset), heads={}, version=self.version)


def posed(context: Context, state: TripState) -> Posed:
    """The trip as a problem. Raises Refused naming what lacks, and what makes it unusable."""
    missing = lacks(state)
    if missing:
        codes = {
            "trip_lacks_days": Problem("menu_no_days", "days"),
            "trip_lacks_party": Problem("menu_nobody", "people"),
            "trip_lacks_kitchen": Problem("trip_no_kitchen", "kitchen"),
        }
        raise Refused(*(codes[one] for one in missing))
    need, found = need_of(context, state), offered(context, state)
    problem = _problem(context, state, need, found)
    wrong = problems_of_menu(problem)
    if wrong:
        raise Refused(*wrong)
    return Posed(
        state=state,
        problem=problem,
        need=need,
        shown={one.item: one for one in found.shown},
        lot_versions=found.lot_versions,
        start=_start(state, problem),
        version=model_version(context.library.version),
    )


def _problem(context: Context, state: TripState, need: NeedShown, found: Offered) -> MenuProblem:
    likes = _likes(context, state, found)
    people = tuple(
        replace(
            person,
            need_kcal=tuple(ceil((day.energy.value or 0.0) / KCAL_J) for day in wanted.days),
            protein_g=ceil(1000.0 * (wanted.protein_planned.value or 0.0)),
            likes=likes[person.id],
            typed_kcal=ceil(told.ration.value / KCAL_J) if told.ration else None,
        )
        for person, wanted, told in zip(people_of(context, state), need.people, state.party, strict=True)
    )
    carries = carries_of(state)
    days = tuple(
        Day(
            tuple(Sitting(s.name, s.stove and not day.spare, s.main) for s in day.sittings),
            carry,
            day.spare,
        )
        for day, carry in zip(state.days, carries, strict=True)
    )
    planned = set(found.planned)
    sittings = [[s.name for s in day.sittings] for day in state.days]
    holds = tuple(
        Hold(
            entry.body.day,
            sittings[entry.body.day].index(entry.body.sitting),
            entry.body.item,
            entry.body.person,
            entry.body.servings,
        )
        for entry in state.held
        if _holds_still(state, entry.body.day, entry.body.sitting, entry.body.person)
    )
    gone = [hold for hold in holds if hold.item not in planned]
    if gone:
        raise Refused(
            *(
                Problem(
                    "trip_held_does_not_enter",
                    "holds",
                    name_of_item(context, hold.item),
                    params={"day": hold.day + 1, "person": hold.person},
                )
                for hold in gone
            )
        )
    bars = tuple(
        BarItem(
            entry.body.item,
            entry.body.day,
            None
            if entry.body.day is None or entry.body.sitting is None
            else sittings[entry.body.day].index(entry.body.sitting),
            entry.body.person,
        )
        for entry in state.barred
        if entry.body.item in planned
        and (
            entry.body.day is None
            or _holds_still(state, entry.body.day, entry.body.sitting, entry.body.person)
        )
    )
    kitchen = state.kitchen
    assert kitchen is not None  # noqa: S101 - asked for above
    return MenuProblem(
        people=people,
        days=days,
        items=tuple(found.planned[one] for one in sorted(planned)),
        carries=_carries(state, max(carries) + 1),
        kitchen=Kitchen(kitchen.pots, round(1e6 * kitchen.pot.value), kitchen.fillings),
        rules=_rules(context, state),
        holds=holds,
        bars=bars,
    )


def _holds_still(state: TripState, day: int, sitting: str | None, person: str | None) -> bool:
    """Whether the day, sitting and person of a pin are still there; the days may have been told anew."""
    if day >= len(state.days):
        return False
    if sitting is not None and sitting not in {s.name for s in state.days[day].sittings}:
        return False
    return person is None or person in {one.name for one in state.party}


def _carries(state: TripState, count: int) -> tuple[Carry, ...]:
    told = state.limits.carries if state.limits else ()
    out = []
    for number in range(count):
        if number >= len(told):
            out.append(Carry())
            continue
        one = told[number]
        out.append(
            Carry(
                None if one.mass is None else round(1000.0 * one.mass.value),
                None if one.volume is None else round(1e6 * one.volume.value),
                None if one.fuel is None else round(1000.0 * one.fuel.value),
            )
        )
    return tuple(out)


def _rules(context: Context, state: TripState) -> Rules:
    library, limits = context.library, state.limits
    rows = {row.text("id"): row for row in library.rows("menu_rules")}
    rules = Rules.from_rows(rules=rows, ration=library.row("trip_nutrition", "trip_ration"))
    if limits is None:
        return rules
    if limits.ration_share is not None:
        share = Fraction(str(round(limits.ration_share.value, 6)))
        rules = replace(rules, ration_share=share, share_days=_ANY_DAYS)
    if limits.extras_day is not None:
        rules = replace(rules, extras_day=limits.extras_day)
    if limits.same_extra_day is not None:
        rules = replace(rules, same_extra_day=limits.same_extra_day)
    return rules


def _likes(context: Context, state: TripState, found: Offered) -> dict[str, dict[str, int]]:
    """Likes by person and item: as told for this trip, else as entered after earlier ones, by what it is
    called."""
    before: dict[tuple[str, str], int] = {}
    for past in sorted(trip_states(context.journal), key=lambda one: one.departure):
        if past.after is None or past.code == state.code:
            continue
        names = {item.item: item.name for menu in past.menus for item in menu.body.items}
        for entries, mark in ((past.after.body.disliked, -1), (past.after.body.liked, 1)):
            for told in entries:
                name = names.get(told.item) or name_of_item(context, told.item)
                everyone = [told.person] if told.person else [person.name for person in past.party]
                for person in everyone:
                    before[person.casefold(), key_of_place(name)] = mark
    out: dict[str, dict[str, int]] = {}
    for one in state.party:
        likes = {}
        for shown in found.shown:
            mark = one.likes.get(shown.item, before.get((one.name.casefold(), key_of_place(shown.name)), 0))
            if mark and shown.item in found.planned:
                likes[shown.item] = mark
        out[one.name] = likes
    return out


def _start(state: TripState, problem: MenuProblem) -> Plan | None:
    """The menu committed as a plan of the problem as it now is, without what can no longer be."""
    if state.menu is None:
        return None
    item_at = {item.id: n for n, item in enumerate(problem.items)}
    person_at = {person.id: n for n, person in enumerate(problem.people)}
    servings = {}
    for one in state.menu.body.served:
        if one.day >= len(problem.days) or one.item not in item_at or one.person not in person_at:
            continue
        names = [sitting.name for sitting in problem.days[one.day].sittings]
        if one.sitting in names:
            at = (one.day, names.index(one.sitting), item_at[one.item], person_at[one.person])
            servings[at] = one.servings
    return Plan(servings)
