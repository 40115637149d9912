"""Cost, unit prices and swaps, each beside its sum by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from saltfare.core.errors import Refused
from saltfare.models import value
from saltfare.models.value import Side

KWH, KCAL = 3.6e6, 4184.0


def piece(**more: float) -> value.Cost:
    # 2.000 kg at 14.00 a kg, trim 5 %, loss 35 %; cure .90; 60 W for 35 d = 50.4 kWh x .17; 5 pouches x .30
    given_ = {
        "bought_kg": 2.0,
        "minor_per_kg": 1400.0,
        "trim_frac": 0.05,
        "loss_frac": 0.35,
        "cure_minor": 90.0,
        "energy_j": 50.4 * KWH,
        "minor_per_kwh": 17.0,
        "pouches": 5,
        "pouch_minor": 30.0,
        "labour_s": 3 * 3600.0,
        "labour_minor_per_hour": 1500.0,
        **more,
    }
    return value.cost_piece(**given_)  # type: ignore[arg-type]


def dish() -> value.Cost:
    # ingredients 12.60; 3.6 + 1.2 kWh at .17; 6 pouches x .35
    return value.cost_dish(
        ingredients_minor=1260.0,
        energy_j=4.8 * KWH,
        minor_per_kwh=17.0,
        pouches=6,
        pouch_minor=35.0,
        absorber_minor=0.0,
        labour_s=0.0,
        labour_minor_per_hour=0.0,
    )


def test_cost_of_a_piece_by_hand() -> None:
    # by hand 28.00 + 0.90 + 8.568 + 1.50 = 38.968; 2 x .95 x .65 = 1.235 kg; 31.553 a kg
    found = piece()
    assert found.total_minor == 3897
    assert dict(found.lines) == {"meat": 2800, "cure": 90, "electricity": 857, "pouches": 150}
    assert found.labour_minor == 4500  # beside the total, not in it
    # 28.00 x .05 trimmed off, 28.00 x .95 x .35 dried off
    assert dict(found.of_loss) == {"trimmed_off": 140, "dried_off": 931}
    net = value.mass_left(bought_kg=2.0, trim_frac=0.05, loss_frac=0.35)
    assert net == pytest.approx(1.235)
    prices = value.unit_prices(minor=3896.8, net_kg=net, energy_j=2500 * KCAL * net, protein_kg=0.35 * net)
    assert prices.per_kg / 100 == pytest.approx(31.553, abs=1e-3)
    # at 250 kcal and 35 g protein per 100 g: 12.621 per 1000 kcal, 9.015 per 100 g protein
    assert prices.per_1000_kcal is not None and prices.per_1000_kcal / 100 == pytest.approx(12.621, abs=1e-3)
    assert prices.per_protein_kg is not None and prices.per_protein_kg / 1000 == pytest.approx(
        9.015, abs=1e-3
    )


def test_cost_of_a_dish_by_hand() -> None:
    # 12.60 + 0.816 + 2.10 = 15.516; 3 kg at 75 % water to 6 %: 0.7979 kg; 19.447 a kg, 2.586 a pouch
    found = dish()
    assert found.total_minor == 1552
    net = 3.0 * 0.25 / 0.94
    prices = value.unit_prices(minor=1551.6, net_kg=net, energy_j=6 * 558.5 * KCAL, protein_kg=None)
    assert prices.per_kg / 100 == pytest.approx(19.447, abs=1e-3)
    assert prices.per_kg / 100 * net / 6 == pytest.approx(2.586, abs=1e-3)
    assert prices.per_1000_kcal is not None and prices.per_1000_kcal / 100 == pytest.approx(4.630, abs=1e-3)
    assert prices.per_protein_kg is None


@settings(max_examples=80, deadline=None)
@given(
    bought=st.floats(0.1, 9.0).map(lambda x: round(x, 3)),
    price=st.integers(1, 9999),
    cure=st.integers(0, 500),
    kwh=st.floats(0, 80),
    pouch=st.integers(0, 99),
)
def test_shown_lines_add_up_to_the_total(
    bought: float, price: int, cure: int, kwh: float, pouch: int
) -> None:
    found = piece(
        bought_kg=bought,
        minor_per_kg=float(price),
        cure_minor=float(cure),
        energy_j=kwh * KWH,
        pouch_minor=float(pouch),
    )
    assert sum(minor for _, minor in found.lines) == found.total_minor
    exact = bought * price + cure + kwh * 17 + 5 * pouch
    assert abs(found.total_minor - exact) <= 0.5 + 1e-6


def test_prices_and_shares_that_are_none_are_refused() -> None:
    for wrong in (
        {"minor_per_kg": -1.0},
        {"energy_j": float("nan")},
        {"trim_frac": 1.0},
        {"loss_frac": -0.1},
    ):
        with pytest.raises(Refused):
            piece(**wrong)
    for net in (0.0, -1.0, float("inf"), float("nan")):
        with pytest.raises(Refused):
            value.unit_prices(minor=100.0, net_kg=net, energy_j=None, protein_kg=None)


# price_marking_2004, article 13: below a pound to the nearest 0.1 p, 5 or higher up, 4 or lower down
@pytest.mark.parametrize(
    ("minor", "shown"),
    [
        (12.34, Fraction(123, 10)),
        (12.35, Fraction(124, 10)),
        (12.349, Fraction(123, 10)),
        (99.94, Fraction(999, 10)),
        (0.04, Fraction(0)),
        (0.05, Fraction(1, 10)),
        # nist_hb130_unit_pricing: from one on to the nearest hundredth
        (100.4, Fraction(100)),
        (315.53, Fraction(316)),
        (315.5, Fraction(316)),
        (315.4999, Fraction(315)),
    ],
)
def test_unit_prices_are_shown_by_the_printed_rules(minor: float, shown: Fraction) -> None:
    assert value.unit_price_shown(minor=minor, minor_per_major=100) == shown


CURED = Side(cost_minor=3.1553, elsewhere_minor=6.0, left_frac=1.0, home_cured=True)  # a gram
DISH = Side(cost_minor=258.6, elsewhere_minor=900.0, left_frac=1.0, home_cured=False)  # a pouch


def test_a_swap_by_hand() -> None:
    # 300 g of cost 9.466 and 18.00 elsewhere for pouches of 2.586 and 9.00:
    # 9.466/2.586 = 3.660; 18/9 = 2.000; 9.466/9 = 1.052; 18/2.586 = 6.961; (18 + 9.466)/(9 + 2.586) = 2.371
    found = value.swap(given_units=300.0, mine=CURED, theirs=DISH)
    assert found.by_cost == pytest.approx(3.660, abs=1e-3)
    assert found.by_elsewhere == pytest.approx(2.000, abs=1e-3)
    assert (found.least, found.most) == pytest.approx((1.052, 6.961), abs=1e-3)
    assert found.equal_gain == pytest.approx(2.371, abs=1e-3)
    assert found.gain_minor / 100 == pytest.approx(11.87, abs=0.01)
    assert (
        found.least < min(found.by_cost, found.by_elsewhere)
        and max(found.by_cost, found.by_elsewhere) < found.most
    )
    assert [note.code for note in found.notes] == [
        "giving_cured_meat_may_be_regulated",
        "labelling_law_first",
    ]
    assert {"allergens", "ingredients", "planning_date", "kept_how"} <= set(found.must_go_along)
    # both save the same
    theirs = 300 * CURED.elsewhere_minor - found.equal_gain * DISH.cost_minor
    assert theirs == pytest.approx(found.gain_minor)


def test_a_side_nearer_its_planning_date_counts_for_less() -> None:
    old = Side(DISH.cost_minor, DISH.elsewhere_minor, 0.5, False)
    fresh, aged = (value.swap(given_units=300.0, mine=CURED, theirs=side) for side in (DISH, old))
    assert aged.by_elsewhere == pytest.approx(2 * fresh.by_elsewhere)
    assert aged.by_cost == fresh.by_cost  # what it cost is spent
    assert "swap_keeping_counted" in [note.code for note in aged.notes]
    with pytest.raises(Refused):
        value.swap(given_units=300.0, mine=CURED, theirs=Side(258.6, 900.0, 0.0, False))


def test_a_swap_turned_round_is_the_same_swap() -> None:
    one = value.swap(given_units=300.0, mine=CURED, theirs=DISH)
    back = value.swap(given_units=one.equal_gain, mine=DISH, theirs=CURED)
    assert back.equal_gain == pytest.approx(300.0)
    assert 300.0 * DISH.cost_minor / CURED.cost_minor == pytest.approx(
        value.swap(given_units=300.0, mine=DISH, theirs=CURED).by_cost
    )


def test_a_swap_without_gain_is_told() -> None:
    dear = Side(cost_minor=100.0, elsewhere_minor=50.0, left_frac=1.0, home_cured=False)
    found = value.swap(given_units=1.0, mine=dear, theirs=dear)
    assert "swap_without_gain" in [note.code for note in found.notes]
    for given_units in (0.0, -1.0, float("nan")):
        with pytest.raises(Refused):
            value.swap(given_units=given_units, mine=CURED, theirs=DISH)
    with pytest.raises(Refused):
        Side(0.0, 1.0, 1.0, False)
    with pytest.raises(Refused):
        Side(1.0, 1.0, 1.5, False)


def test_whole_packs_by_hand() -> None:
    # 100 g at 3.1553 beside a pouch at 2.586: 4:5 (2.45 %), 5:6 (1.65 %), 9:11 (0.17 %)
    found = {
        (a, b): gap
        for a, b, gap in value.swap_whole_packs(mine_minor=315.53, theirs_minor=258.6, most_mine=9)
    }
    assert found[(4, 5)] == pytest.approx(0.0245, abs=1e-4)
    assert found[(5, 6)] == pytest.approx(0.0165, abs=1e-4)
    assert found[(9, 11)] == pytest.approx(0.0017, abs=1e-4)
    with pytest.raises(Refused):
        value.swap_whole_packs(mine_minor=0.0, theirs_minor=1.0, most_mine=3)
