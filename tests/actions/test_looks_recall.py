"""What looks wrong ends in throwing out where there is doubt; a recall finds everything that was touched."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from judged_household import Larder, measured, on

from saltfare.core.errors import NotFound, Refused
from saltfare.journal import events_handling as handling
from saltfare.journal import events_piece as kinds

COLOURS = ("grey", "green", "blue", "black", "yellow", "orange_or_pink")


def look(larder: Larder, **given: Any) -> Any:
    return larder.do("looks_wrong", 60, **given)


@pytest.fixture
def hanging(larder: Larder) -> str:
    code = larder.piece("pork_loin")
    larder.hang(code)
    return code


@pytest.mark.parametrize("colour", COLOURS)
def test_any_colour_but_white_goes_out(larder: Larder, hanging: str, colour: str) -> None:
    assert look(larder, code=hanging, mould=[colour], mould_is="dry_outside").decision == "throw_out"
    assert look(larder, code=hanging, mould=["white", colour], mould_is="dry_outside").decision == "throw_out"


@pytest.mark.parametrize(
    ("given", "decision"),
    [
        ({"mould": ["white"], "mould_is": "dry_outside"}, "wipe_and_watch"),
        ({"mould": ["white"]}, "throw_out"),
        ({"mould": ["white"], "mould_is": "wet_or_furry"}, "throw_out"),
        ({"mould": ["white"], "mould_is": "inside"}, "throw_out"),
        ({"mould_is": "inside"}, "throw_out"),
        ({"mould": ["white"], "mould_is": "not_sure"}, "throw_out"),
        ({"slime": "yes"}, "throw_out"),
        ({"slime": "not_sure"}, "throw_out"),
        ({"needle": "sour"}, "throw_out"),
        ({"needle": "not_sure"}, "throw_out"),
        ({"smell": "sour"}, "throw_out"),
        ({"smell": "putrid"}, "throw_out"),
        ({"smell": "not_sure"}, "throw_out"),
        ({"gap": "not_opened"}, "open_and_look"),
        ({"gap": "wet_or_mouldy"}, "throw_out"),
        ({"gap": "not_sure"}, "throw_out"),
        ({"pack": "swollen"}, "throw_out"),
        ({"pack": "not_sure"}, "throw_out"),
        ({"soft_spot": "yes"}, "throw_out"),
        ({"smell": "mushroom", "slime": "no", "needle": "clean"}, "nothing_seen"),
        ({}, "nothing_seen"),
    ],
)
def test_signs_of_a_whole_hanging_piece(
    larder: Larder, hanging: str, given: dict[str, Any], decision: str
) -> None:
    shown = look(larder, code=hanging, **given)
    assert shown.decision == decision
    assert all(sign.cite == "common_practice" for sign in shown.signs)
    notes = {note.code for note in shown.notes}
    assert "tasting_is_no_test" in notes
    assert ("looks_prove_nothing" in notes) == (decision == "nothing_seen")


def test_white_bloom_is_wiped_off_a_whole_hanging_piece_alone(larder: Larder, hanging: str) -> None:
    given = {"mould": ["white"], "mould_is": "dry_outside"}
    lot, salted = larder.lot(sealed="air"), larder.piece("pork_loin")
    larder.salted(salted)
    rolled = larder.piece("pork_belly_mid")
    larder.hang(rolled)
    larder.do("shape_piece", 30, code=rolled, how="rolled")
    for code in (lot, salted, rolled, None):
        assert look(larder, code=code, **given).decision == "throw_out"


def test_a_further_sign_never_makes_it_better(larder: Larder, hanging: str) -> None:
    order = ("throw_out", "open_and_look", "wipe_and_watch", "nothing_seen")
    one: list[dict[str, Any]] = [
        {},
        {"mould": ["white"], "mould_is": "dry_outside"},
        {"mould": ["green"]},
    ]
    two: list[dict[str, Any]] = [{}, {"gap": "not_opened"}, {"smell": "clean"}, {"slime": "not_sure"}]
    for first, second in product(one, two):
        both = look(larder, code=hanging, **first, **second).decision
        for alone in (first, second):
            assert order.index(both) <= order.index(look(larder, code=hanging, **alone).decision)


def test_looking_records_nothing(larder: Larder, hanging: str) -> None:
    head = larder.journal.head()
    look(larder, code=hanging, mould=["green"])
    assert larder.journal.head() == head
    with pytest.raises(Refused):
        look(larder, mould=["plaid"])


# recall


@pytest.fixture
def family(larder: Larder) -> dict[str, str]:
    """Two pieces of one jar of mix, one cut in two, a part tied to a stranger; lots, one given away."""
    out: dict[str, str] = {}
    for name, mix in (("whole", "Blue lid"), ("other", "blue lid "), ("stranger", "red lid"), ("plain", "")):
        out[name] = larder.piece("pork_loin", mix=mix, name=name)
        larder.salted(out[name], 1, mix_g=4.8 if mix else None)
        larder.hang(out[name], 20)
    left, right = larder.code(), larder.code()
    stream = kinds.STREAM
    parts = {left: measured("", 0.9), right: measured("", 0.8)}
    larder.put(stream + out["whole"], handling.CutInTwo(parts=parts), 30)
    for part, mass in parts.items():
        body = handling.SplitOff(parent=out["whole"], whole=measured("", 1.7), mass=mass)
        larder.put(stream + part, body, 30)
    tied = larder.code()
    whole = {right: measured("", 0.8), out["stranger"]: measured("", 1.5)}
    larder.put(
        stream + tied,
        handling.TiedTogether(
            name="tied", parts=whole, shape="cylinder", thickness=measured("", 0.1), length=measured("", 0.3)
        ),
        35,
    )
    for part, mass in whole.items():
        larder.put(stream + part, handling.TiedInto(code=tied, mass=mass), 35)
    out |= {"left": left, "right": right, "tied": tied}
    out["lot"] = larder.lot(piece=left, day=60, place="larder", name="lot of left")
    out["tied_lot"] = larder.lot(piece=tied, day=62, place="fridge", name="lot of tied")
    larder.do(
        "act_on_verdict", 64, code=out["tied_lot"], question="sealed", done="given_away", packs=2,
        receiver="Neighbour (invented)",
    )  # fmt: skip
    return out


def reached(larder: Larder, **given: Any) -> dict[str, Any]:
    return {one.code: one for one in larder.do("recall", 70, **given).reached}


def test_from_a_wrong_mix_to_every_lot_and_receiver(larder: Larder, family: dict[str, str]) -> None:
    found = reached(larder, mix="BLUE LID")
    names = ("whole", "other", "left", "right", "tied", "lot", "tied_lot")
    assert set(found) == {family[name] for name in names}
    assert found[family["lot"]].how == "packed_from" and found[family["lot"]].from_code == family["left"]
    assert found[family["tied"]].how == "tied_into"
    shown = larder.do("recall", 70, mix="blue lid")
    assert [(r.name, r.packs) for r in shown.receivers] == [("Neighbour (invented)", 2)]
    assert "red lid" in shown.mixes
    assert reached(larder, mix="blue lid", since=on(5).isoformat()) == {}
    assert reached(larder, mix="green lid") == {}


def test_from_a_failed_step_onward_and_never_back(larder: Larder, family: dict[str, str]) -> None:
    tied = larder.journal.events(kinds.STREAM + family["tied"])[0].id
    assert set(reached(larder, event_id=tied)) == {family["tied"], family["tied_lot"]}
    hung = next(e.id for e in larder.journal.events(kinds.STREAM + family["stranger"]) if e.kind == "hung")
    assert set(reached(larder, event_id=hung)) == {family[n] for n in ("stranger", "tied", "tied_lot")}
    assert set(reached(larder, code=family["lot"].lower())) == {family["lot"]}


def test_from_a_place(larder: Larder, family: dict[str, str]) -> None:
    found = reached(larder, place="Cupboard", since=on(25).isoformat(), until=on(26).isoformat())
    assert {family[n] for n in ("whole", "other", "stranger", "plain")} <= set(found)
    assert family["lot"] in found and not found[family["other"]].perhaps
    before = reached(larder, place="cupboard", since=on(5).isoformat(), until=on(6).isoformat())
    assert before and all(one.perhaps for one in before.values())  # in salt: nobody says where
    later = reached(larder, place="fridge", since=on(65).isoformat())
    assert family["tied_lot"] in later and not later[family["tied_lot"]].perhaps


def test_from_an_incident(larder: Larder, family: dict[str, str]) -> None:
    did = larder.do(
        "report_incident", 66, place="fridge", what="fridge_warm", since=on(65).isoformat(), warmest="9 C"
    )
    found = reached(larder, incident=did.code)
    assert family["tied_lot"] in found and found[family["tied_lot"]].receivers
    shown = larder.do("incident", 66, incident=did.code)
    told = next(o for o in shown.touched if o.code == family["tied_lot"])
    assert [r.name for r in told.receivers] == ["Neighbour (invented)"]


def test_a_recall_begins_in_one_place(larder: Larder, family: dict[str, str]) -> None:
    with pytest.raises(Refused) as refused:
        larder.do("recall", 70, mix="blue lid", place="fridge")
    assert refused.value.problems[0].code == "one_beginning"
    with pytest.raises(NotFound):
        larder.do("recall", 70, code="0000000")
    with pytest.raises(NotFound):
        larder.do("recall", 70, event_id="nothing")
    assert larder.do("recall", 70).reached == ()
