"""The forecast as asked for: readiness, bands, bad input, and what it says of odd weigh-ins."""

from dataclasses import replace

import numpy as np
import pytest
from forecast_world import DAY, PRIORS, truth, weighed, world
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core.errors import Refused
from saltfare.plans.forecast import LEVELS, forecast
from saltfare.plans.forecast_posterior import WeighIn, posterior

M0 = 1.8
HUNG = WeighIn(0.0, M0, 0.001)
AIR, ENS = world(read_days=15)
DAYS = np.array([2, 5, 9, 14])
LOSS = truth(AIR, DAYS * DAY, f_d=1.6, f_r=0.7)[:, 0]


def ask(weigh_ins=(), *, target=0.65 * M0, priors=PRIORS, hanging=HUNG, ens=ENS, air=AIR):
    return forecast(
        ensemble=ens,
        programme=air,
        hanging=hanging,
        weigh_ins=weigh_ins,
        target_mass_kg=target,
        priors=priors,
    )


def codes(notes):
    return {n.code for n in notes}


def width_d(f, low=0.1, high=0.9):
    return (f.ready_s[high] - f.ready_s[low]) / DAY


def test_each_weigh_in_narrows_the_ready_date_about_the_truth():
    at = np.arange(0, 90, 0.01)
    true_d = np.interp(0.35, truth(AIR, at * DAY, f_d=1.6, f_r=0.7)[:, 0], at)
    before = None
    for n in range(1, 5):
        f = ask(weighed(DAYS[:n], M0 * (1 - LOSS[:n])))
        assert f.ready_s[0.1] / DAY < true_d < f.ready_s[0.9] / DAY
        assert before is None or width_d(f) < before
        before = width_d(f)
    assert before < 12


def test_the_band_pinches_at_a_weigh_in_to_what_the_scale_can_tell():
    f = ask(weighed(DAYS, M0 * (1 - LOSS)))
    low, high = f.band_kg(band="band_80")
    at = {d: int(np.flatnonzero(f.time_s == d * DAY)[0]) for d in (9, 12, 14, 40)}
    sd = M0 * PRIORS.repeatability_frac
    assert high[at[14]] - low[at[14]] < 2 * 1.2816 * sd * 1.05
    assert high[at[40]] - low[at[40]] > 4 * (high[at[14]] - low[at[14]])
    assert high[at[12]] - low[at[12]] > high[at[9]] - low[at[9]]
    assert (np.diff(f.mass_kg, axis=0) > 0).all()  # quantiles in order
    assert (f.median_kg == f.mass_kg[3]).all()


def test_ready_times_are_the_quantiles_of_the_chance_shown():
    f = ask(weighed(DAYS, M0 * (1 - LOSS)))
    for level in LEVELS:
        assert f.ready_frac_at(time_s=f.ready_s[level]) == pytest.approx(level, abs=0.02)
    assert (np.diff(f.ready_frac) >= 0).all()
    # the median of the mass is at the target where the chance is one half
    assert np.interp(f.ready_s[0.5], f.time_s, f.median_kg) == pytest.approx(0.65 * M0, abs=2e-3)


@pytest.mark.parametrize("days", [(), (3,), (3, 8, 15)])
def test_chance_of_first_passage_agrees_with_sampled_paths(days):
    """Whole paths drawn from the posterior, the first time each is below the target counted."""
    days = np.array(days)
    loss = truth(AIR, days * DAY, f_d=1.2)[:, 0] if days.size else np.array([])
    weigh_ins = weighed(days, M0 * (1 - loss))
    f = ask(weigh_ins, priors=replace(PRIORS, outlier_share_frac=0.0))
    found = posterior(
        ensemble=ENS, hanging=HUNG, weigh_ins=weigh_ins, priors=replace(PRIORS, outlier_share_frac=0.0)
    )
    from saltfare.plans.forecast_posterior import _fields, model_error_cov

    rng = np.random.default_rng(3)
    at = np.arange(1, 90, 0.5) * DAY
    s = found.sets[0]
    n = 4000
    pick = rng.choice(s.points.size, n, p=s.weight)
    every, effect = _fields(ENS, at, HUNG, PRIORS, s.points)
    seen_at = days * DAY
    there, effect_there = _fields(ENS, seen_at, HUNG, PRIORS, s.points)
    # inputs, model error and noise drawn from the prior, then corrected to the weigh-ins
    joint = model_error_cov(a_s=np.append(at, seen_at), b_s=np.append(at, seen_at), priors=PRIORS)
    error = np.linalg.cholesky(joint + 1e-14 * np.eye(len(joint))) @ rng.standard_normal((len(joint), n))
    inputs = rng.standard_normal((5, n))
    paths = every[:, pick] + np.einsum("pkn,pn->kn", effect[:, :, pick], inputs) + error[: at.size]
    if days.size:
        sd = np.hypot(PRIORS.repeatability_frac, 0.001 / M0 / np.sqrt(12))
        drawn = there[:, pick] + np.einsum("pkn,pn->kn", effect_there[:, :, pick], inputs)
        drawn += error[at.size :] + sd * rng.standard_normal((days.size, n))
        for j in range(n):
            u, v = effect_there[:, :, pick[j]], effect[:, :, pick[j]]
            cov = u.T @ u + joint[at.size :, at.size :] + sd**2 * np.eye(days.size)
            cross = v.T @ u + joint[: at.size, at.size :]
            paths[:, j] += cross @ np.linalg.solve(cov, loss - drawn[:, j])
    passed = np.maximum.accumulate(paths, axis=0) >= 0.35
    sampled = passed.mean(axis=1)
    mine = np.interp(at, f.time_s, f.ready_frac)
    error = np.sqrt(sampled * (1 - sampled) / n)
    # never above the sampled chance but for its own error; below it by at most two points
    assert (mine < sampled + 4 * error + 2e-3).all()
    assert (mine > sampled - 4 * error - 0.02).all()


def test_a_target_out_of_reach_has_no_date_and_says_so():
    f = ask(weighed(DAYS, M0 * (1 - LOSS)), target=0.2 * M0)
    assert all(v is None for v in f.ready_s.values())
    assert f.within_horizon_frac < 1e-6
    assert "not_within_horizon" in codes(f.notes)


def test_a_short_horizon_gives_the_early_quantiles_only():
    air, ens = world(days=36.0, read_days=15)
    f = ask(weighed(DAYS, M0 * (1 - LOSS)), ens=ens, air=air)
    far = ask(weighed(DAYS, M0 * (1 - LOSS)))
    assert f.ready_s[0.1] == pytest.approx(far.ready_s[0.1], rel=0.01)
    assert f.ready_s[0.9] is None
    assert 0.5 < f.within_horizon_frac < 0.9
    assert "not_within_horizon" in codes(f.notes)


def test_already_at_its_mass():
    f = ask(weighed(DAYS, M0 * (1 - LOSS)), target=M0 * (1 - LOSS[2]))
    assert "already_at_mass" in codes(f.notes)
    assert f.ready_frac_at(time_s=14 * DAY) > 0.99
    assert f.ready_s[0.5] / DAY == pytest.approx(9, abs=0.3)


def test_nothing_weighed_is_the_prior_and_says_so():
    f = ask()
    assert "no_weigh_ins" in codes(f.notes) and f.weigh_ins == ()
    assert f.diffusivity.median == pytest.approx(1.0, abs=1e-9)
    # 80 % of a log-normal of sd 0.6, 0.5: the normal table's 1.2816
    assert np.log(f.diffusivity.high) == pytest.approx(1.2816 * 0.6, abs=0.01)
    assert np.log(f.resistance.low) == pytest.approx(-1.2816 * 0.5, abs=0.01)
    assert f.log_evidence == pytest.approx(0.0, abs=1e-9)


def test_weigh_ins_in_any_order_and_repeats_once():
    ws = weighed(DAYS, M0 * (1 - LOSS))
    one, two = ask(ws), ask([ws[2], ws[0], ws[3], ws[1], ws[2]])
    assert np.array_equal(one.mass_kg, two.mass_kg) and one.ready_s == two.ready_s
    assert "weigh_in_counted_once" in codes(two.notes) and "weigh_in_counted_once" not in codes(one.notes)


def test_the_same_input_gives_the_same_answer():
    ws = weighed(DAYS, M0 * (1 - LOSS))
    assert np.array_equal(ask(ws).mass_kg, ask(ws).mass_kg)


def test_heavier_than_the_last_is_kept_and_flagged():
    ws = [*weighed(DAYS, M0 * (1 - LOSS)), WeighIn(14.1 * DAY, M0 * (1 - LOSS[3]) + 0.002, 0.001)]
    f = ask(ws)
    assert "weigh_in_heavier" in codes(f.weigh_ins[-1].notes)
    assert abs(f.weigh_ins[-1].surprise_sd) < 3 and f.weigh_ins[-1].in_error_frac < 0.05


@pytest.mark.parametrize("which", [0, 1, 2, 3])
@pytest.mark.parametrize("off_kg", [0.25, -0.25, 1.0])
def test_one_gross_error_does_not_wreck_the_forecast(which, off_kg):
    clean = weighed(DAYS, M0 * (1 - LOSS))
    rest = [w for i, w in enumerate(clean) if i != which]
    bad = replace(clean[which], mass_kg=clean[which].mass_kg + off_kg)
    without, with_it = ask(rest), ask([*rest, bad])
    assert with_it.ready_s[0.5] == pytest.approx(without.ready_s[0.5], abs=0.3 * DAY)
    assert width_d(with_it) == pytest.approx(width_d(without), rel=0.1)
    flagged = with_it.weigh_ins[which]
    assert flagged.in_error_frac > 0.95
    assert {"weigh_in_odd", "weigh_in_set_aside"} <= codes(flagged.notes)
    assert np.sign(flagged.surprise_sd) == np.sign(off_kg)
    others = [w for i, w in enumerate(with_it.weigh_ins) if i != which]
    assert all(w.in_error_frac < 0.05 and abs(w.surprise_sd) < 3 for w in others)


def test_two_gross_errors_of_six_are_found():
    days = np.array([2, 5, 8, 11, 14, 17])
    loss = truth(AIR, days * DAY, f_d=1.6, f_r=0.7)[:, 0]
    masses = M0 * (1 - loss)
    masses[1] += 0.2
    masses[4] -= 0.3
    f = ask(weighed(days, masses))
    assert [w.in_error_frac > 0.9 for w in f.weigh_ins] == [False, True, False, False, True, False]


@settings(max_examples=40, deadline=None)
@given(
    f_d=st.floats(0.4, 2.5),
    f_r=st.floats(0.5, 2.0),
    more_kg=st.floats(0.0, 0.02),
    last=st.integers(10, 20),
)
def test_a_heavier_last_weigh_in_never_makes_it_ready_earlier(f_d, f_r, more_kg, last):
    """Within what the scale and the model's error allow; a gross error is discounted instead, and a
    heavier *early* weigh-in before the same later one does mean faster drying in between."""
    days = np.array([3, 7, last])
    masses = M0 * (1 - truth(AIR, days * DAY, f_d=f_d, f_r=f_r)[:, 0])
    target = 0.9 * masses[-1]
    sure = replace(PRIORS, outlier_share_frac=0.0)
    light = ask(weighed(days, masses), target=target, priors=sure)
    heavy = ask(weighed(days, masses + np.array([0, 0, more_kg])), target=target, priors=sure)
    for level in LEVELS:
        early, late = light.ready_s[level], heavy.ready_s[level]
        if early is None:
            assert late is None
        elif late is not None:
            assert late >= early - 0.02 * DAY


def test_crust_is_a_chance_that_grows_in_dry_air():
    air, ens = world(rh_frac=0.60)
    dry, moist = ask(ens=ens, air=air), ask()
    assert ((dry.crust_frac >= 0) & (dry.crust_frac <= 1)).all()
    assert dry.crust_frac[1:].max() > 0.3
    assert dry.crust_frac.max() > moist.crust_frac.max() + 0.1


def test_crust_chance_agrees_with_sampling_the_world():
    air, ens = world(rh_frac=0.65)
    f = ask(ens=ens, air=air)
    from forecast_world import film_and_layer

    rng = np.random.default_rng(5)
    n = 20000
    z = rng.standard_normal((6, n))
    at = np.array([5.0, 15.0, 40.0]) * DAY
    rh = np.clip(air.rh_frac[:, None] + 0.03 * z[2] + 0.06 * z[4], 0, 0.99)
    run = film_and_layer(
        diffusivity_multiplier=np.exp(0.6 * z[0]),
        resistance_multiplier=np.exp(0.5 * z[1]),
        water_shift_frac=0.015 * z[3],
        end_time_s=air.end_time_s,
        temp_c=air.temp_c[:, None] + 2.0 * z[5],
        rh_frac=rh,
        out_time_s=at,
    )
    sampled = (run.crust_m > 1e-3).mean(axis=1)
    mine = np.interp(at, f.time_s, f.crust_frac)
    assert np.abs(mine - sampled).max() < 0.04  # straight lines between nodes and one-sided slopes


def test_what_lies_at_the_edge_of_the_box_is_said():
    days = np.array([3, 7, 14])
    loss = truth(AIR, days * DAY, f_d=6.5, f_r=0.3)[:, 0]
    f = ask(weighed(days, M0 * (1 - loss)), target=0.3 * M0)
    assert f.edge_frac > 0.05 and "multipliers_at_edge" in codes(f.notes)
    assert ask(weighed(DAYS, M0 * (1 - LOSS))).edge_frac < 0.01


def test_the_air_assumed_is_shown():
    f = ask()
    assert f.air.rh_frac == pytest.approx(0.75) and f.last_reading_s == pytest.approx(15 * DAY)
    assert "air_assumed_recent" in codes(f.notes)
    air, ens = world()
    assert "air_assumed_usual" in codes(ask(ens=ens, air=air).notes)


GOOD = weighed([3], [1.6])


@pytest.mark.parametrize(
    ("change", "code", "field"),
    [
        ({"weigh_ins": weighed([-1], [1.6])}, "weigh_in_before_hanging", "weigh_ins.0.time_s"),
        (
            {"weigh_ins": [*GOOD, WeighIn(np.nan, 1.5, 0.001)]},
            "weigh_in_before_hanging",
            "weigh_ins.1.time_s",
        ),
        ({"weigh_ins": weighed([99], [1.6])}, "weigh_in_after_horizon", "weigh_ins.0.time_s"),
        ({"weigh_ins": weighed([3], [0.0])}, "weigh_in_no_mass", "weigh_ins.0.mass_kg"),
        ({"weigh_ins": weighed([3], [np.nan])}, "weigh_in_no_mass", "weigh_ins.0.mass_kg"),
        ({"weigh_ins": weighed([3], [1.6], -0.1)}, "weigh_in_no_step", "weigh_ins.0.step_kg"),
        ({"hanging": WeighIn(0.0, np.inf, 0.001)}, "weigh_in_no_mass", "hanging.mass_kg"),
        ({"target": 0.0}, "target_no_mass", "target_mass_kg"),
        ({"target": np.nan}, "target_no_mass", "target_mass_kg"),
        ({"target": M0}, "target_not_below_hanging", "target_mass_kg"),
    ],
)
def test_bad_input_is_refused_with_its_field(change, code, field):
    with pytest.raises(Refused) as caught:
        ask(**{"weigh_ins": GOOD, **change})
    assert [(p.code, p.field) for p in caught.value.problems] == [(code, field)]


def test_readings_past_the_horizon_are_refused():
    _, ens = world(days=10.0)
    late, _ = world(days=30.0, read_days=20)
    with pytest.raises(Refused) as caught:
        ask(ens=ens, air=late)
    assert caught.value.problems[0].code == "horizon_too_short"
    with pytest.raises(Refused):
        ask().ready_frac_at(time_s=91 * DAY)


def test_every_code_has_words():
    import tomllib
    from importlib.resources import files

    words = tomllib.loads((files("saltfare.data") / "words" / "forecast.toml").read_text("utf-8"))
    for code in (
        "weigh_in_no_mass",
        "weigh_in_no_step",
        "weigh_in_before_hanging",
        "weigh_in_after_horizon",
        "target_no_mass",
        "target_not_below_hanging",
        "horizon_too_short",
        "horizon_no_time",
        "air_unknown",
        "reading_out_of_bounds",
    ):
        assert words["problem"][code]["text"] and words["problem"][code]["mend"]
    f = ask(weighed([3, 4, 5, 20], [1.6, 1.61, 1.59, 0.6]))
    for note in (*f.notes, *(n for w in f.weigh_ins for n in w.notes)):
        assert words["note"][note.code]["text"].format(**note.params)
