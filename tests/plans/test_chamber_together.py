"""Several pieces in one air: the water balance by hand, and the drying model run once for each alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from saltfare.core.library import Library
from saltfare.models.drying import Air, DryingParameters, Hanging, Members, hang
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.chamber_changes import Kind
from saltfare.plans.chamber_together import HangsHere, Outcome, Regime, best_of, outcomes, regimes_tried
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_priors import ForecastPriors

DAY = 86400.0
LIBRARY = Library()
PRIORS = ForecastPriors.from_library(library=LIBRARY)
PARAMETERS = DryingParameters.from_library(library=LIBRARY, law="lean_default", body="whole_muscle")
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
PIECE = Hanging("cylinder", 0.06, 0.25, 0.0, 0.75, 0.70, 0.05, 0.03, 1.0, 0.0, 2)
ALONE = Regime(rh_first_frac=0.70, rh_then_frac=0.70, first_s=14 * DAY, temp_c=13.0)


def here(code: str = "a", now_days: float = 6.0, **changes) -> HangsHere:
    programme = air_programme(readings=None, usual=UsualAir(13.0, 0.70), horizon_s=200 * DAY, priors=PRIORS)
    given = {
        "code": code, "piece": PIECE, "programme": programme, "speed_m_per_s": 0.1,
        "likeliest": Kind(1.0, 1.0), "closes_easily": Kind(0.4, 0.5), "target_mass_kg": 0.75 * 0.66,
        "now_s": now_days * DAY,
    }  # fmt: skip
    return HangsHere(**{**given, **changes})


def run(pieces, regimes, *, takes=None, days: float = 50.0) -> tuple[Outcome, ...]:
    return outcomes(
        pieces=pieces, regimes=regimes, horizon_s=days * DAY, settles_s=7 * DAY,
        takes_away_kg_per_s=takes, sealed_s_per_m=1e5, parameters=PARAMETERS, protein=LEAN,
    )  # fmt: skip


def test_left_alone_each_piece_dries_as_it_would_by_itself() -> None:
    young, old = here("young", 1.0), here("old", 9.0)
    (one,) = run([young, old], [ALONE])
    time = np.arange(0, 71.0) * DAY
    course = hang(
        piece=PIECE, air=Air(np.array([71 * DAY]), np.array([13.0]), np.array([0.70]), np.array([0.1])),
        members=Members(np.ones(1), np.ones(1)), parameters=PARAMETERS, protein=LEAN, out_time_s=time,
    )  # fmt: skip
    mass = course.mass_kg[:, 0]
    ready = float(np.interp(-0.75 * 0.66, -mass, time))
    for fate, piece in zip(one.fates, (young, old), strict=True):
        assert fate.ready_s == pytest.approx(max(ready - piece.now_s, 0.0), abs=0.6 * DAY)
    # what both give off in the first two days is what both lose in them
    lost = sum(
        float(np.interp(p.now_s, time, mass) - np.interp(p.now_s + 2 * DAY, time, mass)) for p in (young, old)
    )
    assert one.given_off_kg_per_s[0] * 2 * DAY == pytest.approx(lost, rel=0.02)
    assert one.over_s == 0.0 and (one.rh_frac == 0.70).all()


def test_air_gets_wetter_until_no_more_is_given_off_than_taken_away() -> None:
    pieces = [here("a", 1.0), here("b", 2.0), here("c", 8.0)]
    (free,) = run(pieces, [ALONE])
    takes = 0.6 * float(free.given_off_kg_per_s[0])
    (tight,) = run(pieces, [ALONE], takes=takes)
    over = tight.rh_frac > 0.70 + 0.005
    assert over[0] and tight.over_s > 0
    assert tight.given_off_kg_per_s[over] == pytest.approx(np.full(over.sum(), takes), rel=0.08)
    assert (tight.given_off_kg_per_s <= 1.08 * takes).all()
    for a, b in zip(free.fates, tight.fates, strict=True):
        assert a.ready_s is not None and (b.ready_s is None or b.ready_s > a.ready_s)
    # room enough changes nothing
    (wide,) = run(pieces, [ALONE], takes=10 * float(free.given_off_kg_per_s[0]))
    assert [f.ready_s for f in wide.fates] == [f.ready_s for f in free.fates]


def test_wetter_air_is_slower_and_closes_less_drier_the_reverse() -> None:
    wet, dry = (replace(ALONE, rh_first_frac=h, rh_then_frac=h) for h in (0.79, 0.62))
    (alone, wetter, drier) = run([here()], [ALONE, wet, dry], days=60)
    a, w, d = (one.fates[0] for one in (alone, wetter, drier))
    assert d.ready_s is not None and a.ready_s is not None
    assert d.ready_s < a.ready_s and (w.ready_s is None or w.ready_s > a.ready_s)
    # at one and the same time; over their whole way a slower piece has longer to close
    shallow = [one.fates[0].crust_m for one in run([here()], [wet, ALONE, dry], days=9)]
    assert shallow == sorted(shallow) and shallow[0] < 0.9 * shallow[2]


def test_a_sealed_rest_gives_nothing_off_and_lets_the_outside_soften() -> None:
    rest = replace(ALONE, rest_s=14 * DAY, rest_temp_c=3.0, resting=frozenset({"a"}))
    (alone, rested) = run([here("a", 10.0)], [ALONE, rest], days=60)
    assert rested.given_off_kg_per_s[0] == 0.0 < alone.given_off_kg_per_s[0]
    a, r = alone.fates[0].ready_s, rested.fates[0].ready_s
    assert a is not None and r is not None and 8 * DAY < r - a < 15 * DAY


def test_crusts_come_before_dates_and_dates_before_change() -> None:
    pieces = [here("a", 3.0)]
    tried = regimes_tried(
        as_it_is=ALONE, steps_frac=[-0.06, -0.03, 0.0, 0.03, 0.06, 0.09], driest_frac=0.60,
        wettest_frac=0.85, temps_c=[11.0, 15.0], rest=None,
    )  # fmt: skip
    assert all(r.rh_then_frac <= r.rh_first_frac and 0.60 <= r.rh_then_frac <= 0.85 for r in tried)
    alone, *found = run(pieces, [ALONE, *tried], days=70)
    ready = alone.fates[0].ready_s
    assert ready is not None
    # it is there in time with no crust to speak of: nothing is changed
    at_ease = best_of(found=found, as_it_is=alone, by_s=ready + DAY, limit_m=0.02)
    assert at_ease is alone
    # wanted sooner: drier, and no more so than it takes
    sooner = best_of(found=found, as_it_is=alone, by_s=0.92 * ready, limit_m=0.02)
    assert sooner.fates[0].ready_s is not None and sooner.fates[0].ready_s <= 0.92 * ready
    # a crust not to be passed rules, whatever the day
    limit = 0.8 * alone.fates[0].crust_m
    eased = best_of(found=found, as_it_is=alone, by_s=0.9 * ready, limit_m=limit)
    assert eased.fates[0].crust_m <= limit
