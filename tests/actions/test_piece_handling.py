"""What really happens to a piece: nothing that is cut off reads as drying, and no salt is lost on the way."""

from __future__ import annotations

from datetime import timedelta

import pytest
from households import BEGAN, House

from saltfare.actions.piece_forecast import cast, made_of
from saltfare.actions.piece_stages import STAGES
from saltfare.core.errors import NotFound, Refused
from saltfare.journal.fold import effective
from saltfare.journal.piece import piece as piece_of


def codes(error: pytest.ExceptionInfo[Refused]) -> dict[str, str]:
    return {p.code: p.field for p in error.value.problems}


def weighed(house: House) -> str:
    code = house.hung(target_loss="25 %")
    for day, mass in ((23, "1.49 kg"), (27, "1.42 kg"), (32, "1.35 kg")):
        house.do("weigh_in", day, code=code, mass=mass)
    return code


def test_draining_and_a_second_application_are_states_of_their_own(house: House) -> None:
    code = house.started()
    house.do("salt_piece", code=code, salt="21 g", mix="2 g")
    house.do("drain_piece", 6, code=code, liquid="48 g", salt="18 %")
    assert house.do("piece", 6, code=code).state == "draining"
    house.do("salt_piece", 6.1, code=code, salt="21 g", mix="1.9 g")
    assert house.do("piece", 7, code=code).state == "in salt"


def test_a_taste_cut_off_never_changes_the_rate(house: House) -> None:
    code = weighed(house)
    before = house.do("piece", 32, code=code)
    house.do("taste_piece", 32, code=code, before="1.35 kg", after="1.31 kg")
    after = house.do("piece", 32, code=code)
    assert after.forecast.ready == before.forecast.ready
    assert after.loss_from_hanging.value == pytest.approx(before.loss_from_hanging.value)
    assert after.target_kg == pytest.approx(before.target_kg * 1.31 / 1.35)
    # a later weigh-in on the curve of the whole, less the slice, is no surprise
    later = before.forecast.curve[-1] if len(before.forecast.curve) < 40 else before.forecast.curve[40]
    day = (later.at - BEGAN).total_seconds() / 86400
    house.do("weigh_in", day, code=code, mass=f"{later.median_kg * 1.31 / 1.35:.4f} kg")
    assert abs(house.do("piece", day, code=code).weigh_ins[0].surprise_sd) < 0.5


def test_a_piece_cut_in_two_goes_on_as_two_with_its_history(house: House) -> None:
    code = weighed(house)
    whole = house.do("piece", 32, code=code)
    parts = house.do("cut_piece", 32, code=code, masses=["0.70 kg", "0.64 kg"]).codes
    assert house.do("piece", 32, code=code).ended == "cut_in_two"
    assert house.do("pieces", 32, forecasts=False).pieces[0].code in parts
    kept = 0.0
    for part in parts:
        shown = house.do("piece", 32, code=part)
        assert shown.parent == code
        assert shown.forecast.ready == whole.forecast.ready
        kept += shown.kept_frac
    assert kept == pytest.approx(1.0)
    house.do("weigh_in", 36, code=parts[0], mass="0.67 kg")
    assert house.do("piece", 36, code=parts[0]).loss_from_hanging.value > whole.loss_from_hanging.value
    # a correction of the whole's past counts for its parts too
    wrong = whole.weigh_ins[-1].event_id
    house.do("correct", 36, event_id=wrong, what="replace", mass="1.50 kg")
    assert house.do("piece", 36, code=parts[1]).weigh_ins[-1].mass_kg == 1.50


def test_two_tied_together_keep_their_salt_and_solids(house: House) -> None:
    first, second = house.hung(), house.hung()
    for code in (first, second):
        house.do("weigh_in", 25, code=code, mass="1.45 kg")
    tied = house.do(
        "tie_pieces",
        25,
        codes=[first, second],
        masses=["1.45 kg", "1.44 kg"],
        name="Tied",
        shape="slab",
        thickness="10 cm",
        width="14 cm",
        length="30 cm",
    ).codes[0]
    context = house.context(25)
    made = [made_of(context, piece_of(house.journal, code)) for code in (tied, first, second)]
    for name in ("salt_kg", "fat_kg", "solids_kg"):
        assert getattr(made[0], name) == pytest.approx(getattr(made[1], name) + getattr(made[2], name))
    assert made[0].dry_kg + made[0].water_kg == pytest.approx(2.89)
    shown = house.do("piece", 25, code=tied)
    assert not shown.is_intact
    assert shown.forecast is not None
    assert not shown.notes  # its salt is that of all its parts, so the plan still holds
    assert house.do("piece", 25, code=first).ended == "tied_into"


@pytest.mark.parametrize(
    ("how", "intact"), [("dressed", True), ("netted", True), ("rolled", False), ("tied", False)]
)
def test_a_rolled_piece_is_not_intact_from_then_on(house: House, how: str, intact: bool) -> None:
    code = house.started()
    house.do("shape_piece", code=code, how=how)
    assert house.do("piece", code=code).is_intact is intact


def test_injected_is_not_intact(house: House) -> None:
    code = house.started()
    house.do("inject_piece", code=code, brine="160 g", salt="11 %", nitrite="1500 ppm")
    assert not house.do("piece", code=code).is_intact


def test_a_sealed_rest_stops_the_clock_and_needs_cold(house: House) -> None:
    code = weighed(house)
    before = house.do("piece", 32, code=code).forecast.ready.likely
    with pytest.raises(Refused) as refused:
        house.do("rest_piece", 32, code=code, place="larder", temperature="12 C", sealed=True)
    assert codes(refused) == {"sealed_rest_not_cold": "temperature"}
    house.do("rest_piece", 32, code=code, place="fridge", temperature="3 C", sealed=True)
    assert house.do("piece", 34, code=code).state == "resting"
    house.do("end_rest", 42, code=code)
    after = house.do("piece", 42, code=code)
    assert after.state == "hanging"
    assert abs(after.forecast.ready.likely - before - timedelta(days=10)) < timedelta(hours=1)
    # the curve stands where it stood before the rest, and ten days later after it
    curve = [p for p in after.forecast.curve if p.at <= BEGAN + timedelta(days=32)]
    assert curve[0].at == BEGAN + timedelta(days=21) and curve[-1].at > BEGAN + timedelta(days=30)
    assert not [p for p in after.forecast.curve if timedelta(days=32.6) < p.at - BEGAN < timedelta(days=42)]


def test_taking_down_makes_lots_and_sums_are_held(house: House) -> None:
    code = weighed(house)
    pack = {"packs": 4, "mass": "250 g", "sealed": "no_oxygen", "place": "fridge"}
    with pytest.raises(Refused) as refused:
        house.do("take_down", 60, code=code, mass="1.15 kg", portions=[{**pack, "packs": 5}])
    assert codes(refused) == {"packs_outweigh_piece": "portions"}
    did = house.do("take_down", 60, code=code, mass="1.15 kg", trim="100 g", portions=[pack], request_id="t1")
    again = house.do(
        "take_down", 60, code=code, mass="1.15 kg", trim="100 g", portions=[pack], request_id="t1"
    )
    assert did.codes == again.codes
    assert len(did.codes) == 1
    assert house.do("piece", 61, code=code).state == "taken down"
    made = house.journal.events(f"lot/{did.codes[0]}")[0].body
    assert made.packs == 4 and made.piece == code  # type: ignore[attr-defined]


def test_what_was_thrown_out_says_why_and_asks_for_nothing(house: House) -> None:
    code = weighed(house)
    house.do("look_at_piece", 33, code=code, mould=["green"], smell="sour", soft_spot=True)
    house.do("discard_piece", 33, code=code, why="sour at the bone end")
    shown = house.do("piece", 34, code=code)
    assert (shown.state, shown.ended) == ("taken down", "discarded")
    assert all(due.code != code for due in house.do("bench", 40).late)
    with pytest.raises(Refused) as refused:
        house.do("weigh_in", 35, code=code, mass="1.3 kg")
    assert "not_at_this_stage" in codes(refused)


@pytest.mark.parametrize(
    ("action", "given", "code"),
    [
        ("taste_piece", {"before": "1.35 kg", "after": "1.35 kg"}, "nothing_cut_off"),
        ("taste_piece", {"before": "1.35 kg", "after": "0.9 kg"}, "large_taste"),
        ("cut_piece", {"masses": ["1 kg", "0.9 kg"]}, "parts_outweigh_whole"),
        ("cut_piece", {"masses": ["1 kg"]}, "too_few"),
        ("end_rest", {}, "not_resting"),
        ("look_at_piece", {}, "nothing_seen"),
        ("look_at_piece", {"mould": ["plaid"]}, "not_one_of"),
        ("discard_piece", {"why": ""}, "empty"),
        ("drain_piece", {"liquid": "40 g"}, "not_at_this_stage"),
        ("hang_piece", {"mass": "1.3 kg"}, "not_at_this_stage"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_lost(
    house: House, action: str, given: dict[str, object], code: str
) -> None:
    piece = weighed(house)
    head = house.journal.head()
    with pytest.raises(Refused) as refused:
        house.do(action, 33, code=piece, **given)
    assert code in codes(refused)
    assert house.journal.head() == head


def test_tying_refuses_what_cannot_be_tied(house: House) -> None:
    one = weighed(house)
    given = {"name": "x", "shape": "cylinder", "thickness": "10 cm", "length": "30 cm"}
    with pytest.raises(Refused) as refused:
        house.do("tie_pieces", 33, codes=[one, one], masses=["1 kg", "1 kg"], **given)
    assert "tied_to_itself" in codes(refused)
    with pytest.raises(NotFound):
        house.do("tie_pieces", 33, codes=[one, "0000000"], masses=["1 kg", "1 kg"], **given)


def test_a_forecast_of_nothing_hung_is_none(house: House) -> None:
    code = house.started()
    assert cast(house.context(), piece_of(house.journal, code)) is None
    assert BEGAN


def test_a_cut_taken_back_leaves_one_piece_and_put_back_leaves_two(house: House) -> None:
    code = weighed(house)
    did = house.do("cut_piece", 32, code=code, masses=["0.70 kg", "0.64 kg"])
    back = house.do("correct", 32, event_id=did.events[1], what="withdraw", request_id="back")
    assert len(back.events) == 3 and back.stream == f"piece/{code}"
    assert [p.code for p in house.do("pieces", 32, forecasts=False).pieces] == [code]
    assert house.do("piece", 32, code=code).ended is None
    with pytest.raises(NotFound):
        house.do("piece", 32, code=did.codes[0])
    house.do("correct", 32, event_id=back.events[0], what="withdraw")
    assert {p.code for p in house.do("pieces", 32, forecasts=False).pieces} == set(did.codes)
    # what went on since is not lost without a word
    house.do("note", 33, code=did.codes[1], text="white bloom")
    with pytest.raises(Refused) as refused:
        house.do("correct", 33, event_id=did.events[0], what="withdraw")
    assert codes(refused) == {"went_on": "event_id"}


def test_tying_and_taking_down_are_taken_back_whole(house: House) -> None:
    first, second = house.hung(), house.hung()
    for code in (first, second):
        house.do("weigh_in", 25, code=code, mass="1.45 kg")
    given = {"name": "Tied", "shape": "cylinder", "thickness": "12 cm", "length": "30 cm"}
    did = house.do("tie_pieces", 25, codes=[first, second], masses=["1.45 kg", "1.44 kg"], **given)
    house.do("correct", 25.5, event_id=did.events[0], what="withdraw")
    assert {p.code for p in house.do("pieces", 26, forecasts=False).pieces} == {first, second}
    pack = {"packs": 4, "mass": "250 g", "sealed": "air", "place": "fridge"}
    down = house.do(
        "take_down", 40, code=first, mass="1.25 kg", portions=[pack], reasons={"mass": "wanted now"}
    )
    house.do("correct", 41, event_id=down.events[0], what="withdraw")
    assert house.do("piece", 41, code=first).state == "hanging"
    assert not effective(house.journal.events(f"lot/{down.codes[0]}"))


def test_what_was_taken_back_stays_in_the_log_with_what_took_it_back(house: House) -> None:
    code = house.started()
    salted = house.do("salt_piece", code=code, salt="42 g", mix="3.9 g").events[0]
    house.do("correct", 1, event_id=salted, what="withdraw", why="that was the other piece")
    line = next(one for one in house.do("piece", 1, code=code).log if one.event_id == salted)
    assert line.params["salt"] == "42 g" and not line.withdrawable
    assert line.withdrawn_why == "that was the other piece"
    house.do("correct", 1, event_id=line.withdrawn_by, what="withdraw")
    line = next(one for one in house.do("piece", 1, code=code).log if one.event_id == salted)
    assert line.withdrawn_by is None and line.withdrawable


def test_the_acts_offered_are_the_acts_that_are_open(house: House) -> None:
    """What a piece offers is not refused for its state, and what it does not offer is."""
    fields: dict[str, dict[str, object]] = {
        "salt_piece": {"salt": "1 g"},
        "hang_piece": {"mass": "1.5 kg"},
        "rest_piece": {"place": "fridge", "sealed": False},
        "shape_piece": {"how": "netted"},
        "inject_piece": {"brine": "50 g"},
        "smoke_piece": {"how": "cold", "lasted": "5 h", "temperature": "15 C"},
        "taste_piece": {"before": "1.3 kg", "after": "1.29 kg"},
        "cut_piece": {"masses": ["0.6 kg", "0.6 kg"]},
        "change_tare": {"tare": "40 g"},
        "look_at_piece": {"smell": "clean"},
        "discard_piece": {"why": "no"},
        "take_down": {"mass": "1.1 kg"},
        "weigh_in": {"mass": "1.3 kg"},
    }
    stage = {"not_at_this_stage", "not_resting", "resting_already", "hung_already", "not_hung_yet"}
    planned, salted, drained, washed = (house.started() for _ in range(4))
    for code in (salted, drained, washed):
        house.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
    house.do("drain_piece", 1, code=drained)
    house.do("wash_piece", 1, code=washed)
    rested = house.hung()
    house.do("rest_piece", 22, code=rested, place="fridge", temperature="3 C", sealed=True)
    for code in (planned, salted, drained, washed, rested):
        offered = house.do("piece", 30, code=code).acts
        assert offered
        for act in STAGES:
            if act == "tie_pieces":
                continue
            with pytest.raises(Refused) as refused:
                # a time to come is refused after everything else, so that nothing is recorded
                when = house.context(31).now.isoformat()
                house.do(
                    act, 30, code=code, at=when, reasons={"mass": "x", "mix": "x"}, **fields.get(act, {})
                )
            assert (not stage & set(codes(refused))) == (act in offered), (act, codes(refused))


def test_what_drained_off_counts_for_the_piece_and_never_for_the_limit(house: House) -> None:
    code = house.started(salt_share="3.6 %", applications=2, first_share="50 %", first_days="7 d")
    house.do("salt_piece", code=code, salt="27 g", mix="2 g")
    assert "drain_wash" in [due.step for due in house.do("bench", 7).due]
    house.do("drain_piece", 7, code=code, liquid="48 g", salt="18 %")
    assert "weigh_out_second" in [due.step for due in house.do("bench", 7).due]
    house.do("salt_piece", 7.1, code=code, salt="27 g", mix="1.9 g")
    whole = made_salt(house, code, liquid=True)
    assert whole < made_salt(house, code, liquid=False)


def made_salt(house: House, code: str, *, liquid: bool) -> float:
    from dataclasses import replace

    from saltfare.actions.piece_start import replanned

    state = piece_of(house.journal, code)
    if not liquid:
        state = replace(state, drained=())
    plan = replanned(house.context(21), state, hanging_kg=1.55)
    assert plan.dose.nitrite is not None
    assert plan.dose.nitrite.value == pytest.approx(150e-6, rel=0.05)  # ingoing, whatever drained
    return plan.hanging.salt_kg
