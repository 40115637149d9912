"""What would still work where a want comes too late: other ways, each with its own chance.

None of them makes salting, rest, freezing or any hold shorter: a thinner cut takes its own, shorter days.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from saltfare.core.errors import OutOfRange, Refused
from saltfare.core.library import Library
from saltfare.plans.back_plan_courses import CuredWant, DishWant
from saltfare.plans.back_plan_shapes import BackPlan, Place

_THICKNESSES = ("thickest", "thick", "middling", "thin")


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """Another way. code: `thinner`, `other_purpose`, `other_cut`, `dish_instead`, `bought_pack`, `later`.

    chance: that it is there by the day, begun as soon as may be; None where nothing uncertain is in it.
    ready: for `later`, the day it is there with the chance planned for. params: what is changed, SI.
    room_open: places whose room was taken as enough for that.
    """

    want: str
    code: str
    chance: float | None
    ready: date | None = None
    conflicts: int = 0
    params: Mapping[str, str | float | int] = field(default_factory=dict)
    room_open: tuple[Place, ...] = ()


def offers(
    *,
    want: CuredWant | DishWant,
    plan: BackPlan,
    planned_with: Callable[[CuredWant | DishWant], BackPlan],
    instead: Sequence[DishWant],
    library: Library,
) -> tuple[Offer, ...]:
    """Other ways for a want that comes too late, the surest first.

    Parameters
    ----------
    want : as it was asked
    plan : with it as it was asked
    planned_with : the plan with another want in its place
    instead : dishes that could be made in its place
    library : the figures it rests on

    Source
    ------
    saltfare_chosen, what is offered
    """
    now = next(one for one in plan.wants if one.asked.id == want.id)
    found: list[Offer] = []
    tried: list[tuple[str, CuredWant | DishWant, dict[str, str | float | int]]] = []
    if isinstance(want, CuredWant):
        tried += list(_cured(want, library))
        tried += [("dish_instead", dish, {"dish": dish.name}) for dish in instead]
    for code, other, params in tried:
        try:
            made = planned_with(other)
        except (Refused, OutOfRange):
            continue
        as_made = next(one for one in made.wants if one.asked.id == other.id)
        if not as_made.made or as_made.chance <= now.chance + 0.02:
            continue
        own = {planned.make.id for planned in as_made.made}
        hard = sum(c.make in own and c.code != "nobody_turns" for c in made.conflicts)
        found.append(
            Offer(
                want=want.id, code=code, chance=as_made.chance, conflicts=hard, params=params,
                room_open=as_made.room_open,
            )
        )  # fmt: skip
    found.sort(key=lambda one: (-(one.chance or 0.0), one.code))
    late = [planned.packed for planned in now.made if planned.late]
    if late:
        found.append(Offer(want=want.id, code="later", chance=None, ready=max(late), room_open=now.room_open))
    return (*found, Offer(want=want.id, code="bought_pack", chance=None))


def _cured(
    want: CuredWant, library: Library
) -> Iterator[tuple[str, CuredWant, dict[str, str | float | int]]]:
    request = want.request
    thinner = [
        size
        for size in (library.row("buying_rules", name).number("mm") for name in _THICKNESSES)
        if size < 0.95 * request.thickness_m
    ]
    for size in thinner:
        other = replace(want, request=replace(request, thickness_m=size))
        yield "thinner", other, {"thickness_m": size}
    if request.purpose == "carried":
        other = replace(want, request=replace(request, purpose="home_cold"))
        yield "other_purpose", other, {"purpose": "home_cold"}
        if thinner:
            other = replace(other, request=replace(other.request, thickness_m=thinner[-1]))
            yield "other_purpose", other, {"purpose": "home_cold", "thickness_m": thinner[-1]}
