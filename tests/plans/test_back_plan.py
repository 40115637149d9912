"""Plans back from a date: their chances against worlds dried anew, their days against the piece's own plan.

Outside: the freezing days of 9 CFR 318.10 (c)(2), table 1; the rest are counts by hand, brute force with
numpy's generator, and the drying model itself.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from back_plan_worlds import (
    DAY,
    LIBRARY,
    NOBODY,
    PRIORS,
    RULES,
    TODAY,
    air,
    any_bench,
    frozen,
    lived,
    planned,
    request,
    sd_from,
    simulated,
    want,
)

from saltfare.core.errors import Refused
from saltfare.models.drying import DryingParameters
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.back_plan import back_plan, chance_begun, start_by
from saltfare.plans.back_plan_belief import multipliers
from saltfare.plans.back_plan_chance import Days, ToHang, column, drawn_from, hanging_time, normal_column
from saltfare.plans.back_plan_courses import DishWant, dish_makes, hung_piece, piece_makes
from saltfare.plans.back_plan_mass import kept_at_least, share_quantiles
from saltfare.plans.back_plan_offers import offers
from saltfare.plans.back_plan_shapes import Asked, Away, Course, Make, Room, Step, UnderWay, Use
from saltfare.plans.buying import Band, Shares
from saltfare.plans.forecast import forecast
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_posterior import WeighIn
from saltfare.plans.piece_parts import TwoApplications
from saltfare.plans.piece_plan import plan_piece

BY = TODAY + timedelta(days=100)


# worlds


def test_a_column_has_one_value_in_each_slice_and_its_own_order() -> None:
    one, other = column(name="one"), column(name="other")
    for values in (one, other):
        assert sorted(np.floor(values * values.size).astype(int)) == list(range(values.size))
    assert abs(np.corrcoef(one, other)[0, 1]) < 4 / np.sqrt(one.size)
    assert (column(name="one") == one).all()
    normal = normal_column(name="one")
    assert abs(normal.mean()) < 1e-3 and abs(normal.std() - 1) < 2e-3


def test_pieces_share_what_their_chamber_and_cut_share() -> None:
    """Shares of the variances as `learning_priors` has them: 15 + 15 + 30 % of ln diffusivity shared."""

    def ln(piece: str, chamber: str, cut: str) -> np.ndarray:
        return multipliers(learned=NOBODY, piece=piece, chamber=chamber, cut=cut)

    first = ln("a", "c", "k")
    told = NOBODY.belief(chamber="c", cut="k")
    assert first.mean(axis=1) == pytest.approx(told.mean, abs=0.02)
    assert np.cov(first) == pytest.approx(told.cov, abs=0.02)
    for chamber, cut, shared in (("c", "k", 0.60), ("c", "j", 0.30), ("d", "k", 0.45), ("d", "j", 0.15)):
        found = np.corrcoef(first[0], ln("b", chamber, cut)[0])[0, 1]
        assert found == pytest.approx(shared, abs=0.05)


def test_days_drawn_are_those_the_forecast_gives_where_humidity_is_known() -> None:
    """The forecast takes an error of the humidity along a straight line; without that they must agree."""
    priors = replace(PRIORS, rough_share_frac=0.0, unruly_share_frac=0.0, hygrometer_bias_frac=1e-6)
    chamber = air()
    known = replace(chamber.air, humidity_sd_frac=1e-6)
    plan = plan_piece(request=request(), library=LIBRARY)
    hang = HangingPiece(
        hung_piece(plan=plan),
        0.1,
        DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle"),
        ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat")),
    )
    made, fan = simulated(hang, known)
    loss = plan.target.loss_from_hanging.value
    mass = hang.piece.mass_kg
    usual = UsualAir(known.temp_c, known.rh_frac)
    programme = air_programme(readings=None, usual=usual, horizon_s=made.horizon_s, priors=priors)
    found = forecast(
        ensemble=made, programme=programme, hanging=WeighIn(0.0, mass, 1e-6), weigh_ins=[],
        target_mass_kg=mass * (1 - loss), priors=priors,
    )  # fmt: skip
    drawn = hanging_time(
        piece=ToHang(
            name="p", chamber="c", ensemble=made, fan=fan, humidity_sd_frac=1e-6, target_loss_frac=loss,
            multipliers=multipliers(learned=NOBODY, piece="p", chamber="c", cut="k"),
        ),
        priors=priors,
    )  # fmt: skip
    for days in (15, 25, 40, 60, 90):
        # the forecast's running maximum errs late by up to 2 points (docs/forecast.md)
        told = found.ready_frac_at(time_s=days * DAY)
        assert -0.015 < (drawn <= days * DAY).mean() - told < 0.03


def test_times_drawn_from_a_chance_have_that_chance() -> None:
    time, chance = np.array([0.0, 10.0, 20.0, 40.0]), np.array([0.0, 0.2, 0.7, 0.9])
    drawn = drawn_from(name="u", time_s=time, ready_frac=chance)
    for at, told in ((10, 0.2), (15, 0.45), (20, 0.7), (40, 0.9)):
        assert (drawn <= at).mean() == pytest.approx(told, abs=1.5e-3)
    assert np.isinf(drawn).mean() == pytest.approx(0.1, abs=1e-3)


@pytest.mark.parametrize(
    ("wants", "rh_frac"),
    [
        ([want(kg=0.8, by=BY, of=request(thickness_m=0.06))], 0.72),
        ([want(kg=0.3, by=BY), want(key="loin", kg=0.2, by=BY, of=frozen(thickness_m=0.045))], 0.72),
    ],
    ids=["two pieces", "two wants"],
)
def test_worlds_lived_through_agree_with_the_chance(wants: list, rh_frac: float) -> None:
    _agrees(wants, rh_frac, worlds=160, most_sd=3.3)


@pytest.mark.deep
@pytest.mark.parametrize("level", ["level_low", "level_mid", "level_high"])
@pytest.mark.parametrize("rh_frac", [0.66, 0.72, 0.76])
def test_a_thousand_worlds_agree_with_the_chance(level: str, rh_frac: float) -> None:
    by = TODAY + timedelta(days=150)
    wants = [
        want(kg=0.7, by=by, of=request(thickness_m=0.05)),
        want(key="loin", kg=0.3, by=by, of=frozen(thickness_m=0.045)),
    ]
    _agrees(wants, rh_frac, worlds=1000, most_sd=3.3, level=level)


def _agrees(wants: list, rh_frac: float, *, worlds: int, most_sd: float, level: str = "level_mid") -> None:
    chambers = [air(rh_frac=rh_frac)]
    plan = planned(wants, chambers, rules=replace(RULES, level=level))
    came = lived(plan, wants, chambers, np.random.default_rng(20261125), worlds=worlds)
    for made in plan.wants:
        assert 0.0 < made.chance < 1.0
        assert abs(sd_from(made.chance, came.wants[made.asked.id].mean(), worlds)) < most_sd
    assert abs(sd_from(plan.chance, came.all.mean(), worlds)) < most_sd


# masses


def test_green_weight_covers_what_goes_on_the_way_as_often_as_told() -> None:
    bands = (Band(0.02, 0.06, 0.12), Band(0.03, 0.045, 0.06), Band(0.35, 0.37, 0.40), Band(0.0, 0.02, 0.06))
    shares = Shares(*bands)
    rng = np.random.default_rng(3)
    left = np.ones(200_000)
    for band in bands:
        left = left * (1 - rng.triangular(band.low, band.mid, band.high, left.size))
    for chance in (0.5, 0.9):
        kept = kept_at_least(shares=shares, chance=chance, from_green=False)
        assert (left >= kept).mean() == pytest.approx(chance, abs=0.015)
    assert kept_at_least(shares=shares, chance=0.9, from_green=True) > kept_at_least(
        shares=shares, chance=0.9, from_green=False
    )
    assert share_quantiles(band=Band.known(0.3)) == pytest.approx(np.full(15, 0.3))


def test_more_meat_than_one_piece_holds_is_cut_into_pieces_of_one_size() -> None:
    makes, _ = piece_makes(want=want(kg=2.0), chambers=[air()], bench=any_bench())
    green = makes[0].green
    assert green is not None and len(makes) == green.pieces > 1
    assert green.length_m <= 5 * 0.06 + 1e-9
    assert green.pieces * green.each_kg == pytest.approx(green.green_kg)
    assert green.bought_kg > green.green_kg > 2.0
    volume = np.pi / 4 * 0.06**2 * green.length_m
    assert 1000 < green.each_kg / volume < 1120  # raw lean meat, kg/m3


# days


def test_the_days_before_hanging_are_those_of_the_pieces_own_plan() -> None:
    for thickness in (0.04, 0.06, 0.08):
        for twice in (None, TwoApplications()):
            of = frozen(thickness_m=thickness, twice=twice)
            (make, *_), against = piece_makes(want=want(of=of), chambers=[air()], bench=any_bench())
            assert not against and make.green is not None
            green = make.green
            filled = replace(of, green_mass_kg=green.each_kg, length_m=green.length_m, width_m=green.width_m)
            plan = plan_piece(request=filled, library=LIBRARY)
            (way,) = make.ways
            assert way.lead_days == (plan.hang_on - plan.request.start).days
            days = {step.code: step for step in way.lead}
            assert days["thaw"].day == plan.origins.freeze_days
            assert days["salt"].day == plan.origins.days
            assert ("salt_second" in days) is (twice is not None)
            assert days["wash_dress"].day == days["salt"].day + plan.time.days


@pytest.mark.parametrize(("celsius", "days"), [(-15.0, 20), (-23.4, 10), (-28.9, 6)])
def test_freezing_takes_the_published_days_and_one_to_settle(celsius: float, days: int) -> None:
    """9 CFR 318.10 (c)(2), table 1, group 1 (up to 6 inches): 20 days at 5 F, 10 at -10 F, 6 at -20 F."""
    from saltfare.plans.piece_parts import Freezing

    of = frozen(freezing=Freezing(temp_c=celsius))
    (make, *_), _ = piece_makes(want=want(of=of), chambers=[air()], bench=any_bench())
    steps = {step.code: step for step in make.ways[0].lead}
    assert steps["thaw"].day - steps["freeze"].day == days + 1
    assert "trichinella_only" in {note.code for note in steps["freeze"].cautions}


def fixed(
    name: str, days: list[int], *, lead: int = 4, chamber: str = "c", turns: bool = False, waits: bool = True
) -> Make:
    """Something that takes one of so many days, each as likely."""
    worlds = Days(np.repeat(np.array(days, float), 4096 // len(days)))
    steps = [Step(code="buy", day=0, home="must"), Step(code="salt", day=1, home="must")]
    if turns:
        steps.append(Step(code="turn", day=2, until=lead - 1, home="daily"))
    steps.append(Step(code="hang", day=lead, home="must"))
    course = Course(
        chamber=chamber, lead=tuple(steps), lead_days=lead, days=worlds, together=worlds,
        tail=(Step(code="pack", day=0, home="must"),), tail_days=0, waits=waits,
        uses=(Use(place="hook", first=lead, last=None, amount=1, key=chamber),
              Use(place="fridge", first=1, last=lead - 1, amount=1)),
        looks=(2, 5),
    )  # fmt: skip
    return Make(id=f"{name}/1", want=name, name=name, kind="piece", ways=(course,))


def scheduled(*makes: Make, room: Room | None = None, away: tuple = (), under_way: tuple = (), by: date = BY):
    return back_plan(
        today=TODAY, room=room or Room(hooks={"c": 9, "d": 9}, fridge=9), away=away, under_way=under_way,
        rules=RULES,
        asked=[Asked(id=m.want, name=m.name, needed_by=by, makes=(m,), kg=1.0) for m in makes],
    )  # fmt: skip


def test_a_start_by_day_is_the_day_needed_less_the_days_that_are_enough() -> None:
    make = fixed("a", [10, 20, 30, 40])
    (way,) = make.ways
    for chance, days in ((0.5, 20), (0.75, 30), (0.8, 40), (0.95, 40)):
        assert start_by(needed_by=BY, course=way, chance=chance) == BY - timedelta(days=4 + days)
    assert chance_begun(start=BY - timedelta(days=34), needed_by=BY, course=way) == 0.75
    assert chance_begun(start=BY - timedelta(days=3), needed_by=BY, course=way) == 0.0
    plan = scheduled(make)
    (one,) = plan.wants[0].made
    assert one.start == BY - timedelta(days=44) and one.chance == plan.chance == 1.0
    assert one.start_by["level_low"] == BY - timedelta(days=24)
    assert one.down == tuple(one.begun + timedelta(days=d) for d in (10, 20, 40))
    assert not plan.conflicts


def test_a_start_is_moved_earlier_where_somebody_must_be_home() -> None:
    wanted = BY - timedelta(days=44)
    away = (Away(first=wanted + timedelta(days=1), last=wanted + timedelta(days=2)),)
    plan = scheduled(fixed("a", [10, 20, 30, 40]), away=away)
    (one,) = plan.wants[0].made
    # buying, salting and hanging (days 0, 1 and 4) fall on days somebody is there
    days = {one.start + timedelta(days=d) for d in (0, 1, 4)}
    assert not any(a.holds(d) for a in away for d in days)
    assert one.start == wanted - timedelta(days=1) and one.moved_days == 1 and not plan.conflicts


def test_turning_days_missed_are_avoided_where_possible_and_else_said() -> None:
    wanted = BY - timedelta(days=50)
    away = (Away(first=wanted + timedelta(days=4), last=wanted + timedelta(days=6)),)
    make = fixed("a", [10, 20, 30, 40], lead=10, turns=True)
    (one,) = scheduled(make, away=away).wants[0].made
    assert one.moved_days > 0
    always = tuple(
        Away(first=TODAY + timedelta(days=n), last=TODAY + timedelta(days=n + 1)) for n in range(5, 200, 7)
    )
    plan = scheduled(make, away=always)
    turned = [c for c in plan.conflicts if c.code == "nobody_turns"]
    assert turned and turned[0].days >= 1 and not [c for c in plan.conflicts if c.code == "nobody_home"]


def test_two_pieces_and_one_hook_go_to_another_chamber_or_are_said() -> None:
    one_hook = Room(hooks={"c": 1, "d": 1}, fridge=9)
    short = scheduled(fixed("a", [10, 20]), fixed("b", [10, 20]), room=one_hook)
    assert not short.conflicts  # one after the other: the first is down before the second is hung
    assert abs((short.wants[0].made[0].begun - short.wants[1].made[0].begun).days) > 20
    first, second = fixed("a", [60, 70]), fixed("b", [60, 70])
    plan = scheduled(first, second, room=one_hook)
    assert {c.code for c in plan.conflicts} == {"hook"} and plan.conflicts[0].asks == 2
    both = replace(second, ways=(*second.ways, *fixed("b", [60, 70], chamber="d").ways))
    plan = scheduled(first, both, room=one_hook)
    assert not plan.conflicts
    assert {m.course.chamber for w in plan.wants for m in w.made} == {"c", "d"}


def test_what_hangs_already_has_its_hook_until_it_is_very_likely_down() -> None:
    hanging = UnderWay(code="X", name="x", want="", days=Days(np.full(4096, 90.0)), hook="c")
    room = Room(hooks={"c": 1}, fridge=9)
    plan = scheduled(fixed("a", [10, 20]), room=room, under_way=(hanging,))
    assert [c.code for c in plan.conflicts] == ["hook"]
    soon = replace(hanging, days=Days(np.full(4096, 5.0)))
    assert not scheduled(fixed("a", [10, 20]), room=room, under_way=(soon,)).conflicts


def test_a_full_fridge_moves_a_start_or_is_said() -> None:
    room = Room(hooks={"c": 9}, fridge=1)
    plan = scheduled(fixed("a", [10, 20]), fixed("b", [10, 20]), room=room)
    starts = [m.start for w in plan.wants for m in w.made]
    assert not plan.conflicts and abs((starts[0] - starts[1]).days) >= 3
    assert [c.code for c in scheduled(fixed("a", [10]), room=Room(hooks={"c": 9}, fridge=0)).conflicts] == [
        "fridge"
    ]


def test_a_want_of_two_pieces_is_late_by_the_slower_one() -> None:
    rng = np.random.default_rng(1)
    days = [rng.permutation(np.repeat([10.0, 20.0, 30.0, 40.0], 1024)) for _ in range(2)]
    together = Days(np.maximum(*days))
    makes = [
        replace(
            fixed("a", [10]), id=f"a/{n}",
            ways=(replace(fixed("a", [10]).ways[0], days=Days(own), together=together),),
        )
        for n, own in enumerate(days)
    ]  # fmt: skip
    asked = [Asked(id="a", name="a", needed_by=BY, makes=tuple(makes), kg=1.0)]
    plan = back_plan(today=TODAY, asked=asked, room=Room(), away=(), under_way=(), rules=RULES)
    assert plan.chance == pytest.approx(together.chance(days=(BY - plan.wants[0].made[0].begun).days))
    assert plan.wants[0].start_by["level_low"] == BY - timedelta(days=34)  # both by 30 days: 9/16


def test_tasks_keep_their_names_when_their_days_move() -> None:
    first = scheduled(fixed("a", [10, 20]))
    moved = scheduled(fixed("a", [10, 20, 30, 40]))
    again = {t.id: t for t in moved.tasks}
    for task in first.tasks:
        if task.code != "look":
            assert (again[task.id].code == task.code and again[task.id].on < task.on) or task.code in (
                "pack",
                "take_down",
            )
    assert len({t.id for t in first.tasks}) == len(first.tasks)


def test_too_late_is_said_and_other_ways_have_their_own_chance() -> None:
    near = TODAY + timedelta(days=75)
    thick = want(kg=0.2, by=near, of=request(thickness_m=0.08))
    chambers = [air()]
    plan = planned([thick], chambers)
    assert plan.wants[0].late and plan.chance < 0.8
    tried = []

    def planned_with(other):
        tried.append(other)
        return planned([other], chambers)

    found = offers(want=thick, plan=plan, planned_with=planned_with, instead=(), library=LIBRARY)
    thinner = [o for o in found if o.code == "thinner"]
    assert thinner and thinner[0].chance is not None and thinner[0].chance > plan.chance
    assert {o.code for o in found} >= {"later", "bought_pack"}
    # never by shortening: each way has the days of its own plan
    for other in tried:
        (make, *_), _ = piece_makes(want=other, chambers=chambers, bench=any_bench())
        green = make.green
        assert green is not None
        filled = replace(other.request, green_mass_kg=green.each_kg, length_m=green.length_m)
        assert make.ways[0].lead_days == plan_piece(request=filled, library=LIBRARY).time.days


def test_a_chamber_too_wet_for_the_purpose_is_said_and_another_taken() -> None:
    of = frozen(purpose="carried", thickness_m=0.04)
    makes, against = piece_makes(
        want=want(of=of),
        chambers=[air(rh_frac=0.85, key="wet"), air(rh_frac=0.65, key="dry")],
        bench=any_bench(),
    )
    assert {way.chamber for way in makes[0].ways} == {"dry"}
    assert {p.code for p in against} == {"carried_needs_drier_air"} and against[0].params["chamber"] == "wet"


# dishes


def dish(**changes) -> DishWant:
    given = {
        "id": "stew", "name": "stew", "packs": 12, "needed_by": BY, "tray_kg": 0.45,
        "hours": (8.0, 12.0, 20.0), "soak": True,
    }  # fmt: skip
    return DishWant(**{**given, **changes})


def test_a_dish_is_made_in_as_many_runs_as_its_trays_need() -> None:
    # 6 kg on a square metre at the most: 0.5 m2 hold 3 kg, six packs of 450 g
    runs = dish_makes(want=dish(), trays_m2=0.5, work_h=(8, 21), library=LIBRARY)
    assert [make.packs for make in runs] == [6, 6]
    plan = back_plan(
        today=TODAY, room=Room(trays_m2=0.5), away=(), under_way=(), rules=RULES,
        asked=[Asked(id="stew", name="stew", needed_by=BY, makes=runs, packs=12)],
    )  # fmt: skip
    assert not plan.conflicts
    made = plan.wants[0].made
    spans = sorted((m.begun, m.down[2]) for m in made)
    assert spans[0][1] < spans[1][0]  # one run off before the next is on
    codes = [t.code for t in plan.tasks if t.make == made[0].make.id and t.code != "look"]
    assert codes == ["shop", "soak", "cook", "cool", "lay_on_trays", "off_trays", "condition", "test_pouch",
                     "fill_packs"]  # fmt: skip
    for one in made:
        days = {t.code: t for t in one.tasks}
        assert (days["test_pouch"].on - days["condition"].on).days == 7
        assert days["soak"].on + timedelta(days=1) == days["cook"].on


def test_trays_come_off_only_when_somebody_is_up() -> None:
    (run,) = dish_makes(want=dish(packs=2), trays_m2=1.0, work_h=(8, 21), library=LIBRARY)
    worlds = run.ways[0].days.worlds
    # in at 18 h: dry within 27 h (by 21 h the next day) is one day, more is two
    hours = 12.0 * np.exp(np.log(20 / 8) / (2 * 1.2815515655446004) * normal_column(name="trays stew"))
    assert (worlds == np.where(hours <= 3, 0, np.where(hours <= 27, 1, np.where(hours <= 51, 2, 3)))).all()


def test_trays_that_do_not_hold_one_pack_are_refused() -> None:
    with pytest.raises(Refused) as refused:
        dish_makes(want=dish(), trays_m2=0.05, work_h=(8, 21), library=LIBRARY)
    assert refused.value.problems[0].code == "trays_too_small"


def test_a_piece_that_hangs_is_followed_to_its_first_moment_at_its_mass() -> None:
    """Beside the forecast, whose running maximum is never sooner and at most a few points later."""
    from forecast_world import PRIORS as ONE_KIND
    from forecast_world import weighed, world

    from saltfare.plans.back_plan_chance import time_at_mass
    from saltfare.plans.forecast_posterior import posterior

    programme, made = world()
    hanging, weigh_ins = WeighIn(0.0, 2.0, 0.001), weighed([5, 12, 20], [1.80, 1.64, 1.52])
    told = forecast(
        ensemble=made, programme=programme, hanging=hanging, weigh_ins=weigh_ins, target_mass_kg=1.3,
        priors=ONE_KIND,
    )  # fmt: skip
    found = posterior(ensemble=made, hanging=hanging, weigh_ins=weigh_ins, priors=ONE_KIND)
    time = time_at_mass(name="p", found=found, target_mass_kg=1.3, fan=None, humidity_sd_frac=0.03)
    for level in (0.1, 0.25, 0.5, 0.75, 0.9):
        at = told.ready_s[level]
        assert at is not None
        assert -0.015 < (time <= at).mean() - level < 0.05
