"""What pieces teach each other, through the actions. Every piece is invented."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from households import House

from saltfare.actions.learning import LearnedShown
from saltfare.core.errors import Refused
from saltfare.faces.words import Words

CUPBOARD = {"name": "Cupboard", "temperature": "13 C", "humidity": "75 %", "air_speed": "0.1 m/s"}
# about twice as fast as the equations have such a loin dry, and about as fast as they do
FAST = {24: "1.36 kg", 28: "1.24 kg", 34: "1.12 kg"}
PLAIN = {24: "1.44 kg", 28: "1.36 kg", 34: "1.28 kg"}


def hung(house: House, masses: Mapping[float, str] = {}, **changes: Any) -> str:
    code = house.hung(chamber="cupboard", **changes)
    for day, mass in masses.items():
        house.do("weigh_in", day, code=code, mass=mass, scale_step="1 g", reasons={"mass": "as weighed"})
    return code


@pytest.fixture
def cupboard(house: House) -> House:
    house.do("describe_chamber", **CUPBOARD)
    return house


def ready(house: House, code: str, day: float) -> Any:
    return house.do("piece", day, code=code).forecast.ready


def test_a_second_piece_in_the_same_chamber_starts_wiser_than_the_first(cupboard: House) -> None:
    new = hung(cupboard, target_loss="25 %")
    alone = ready(cupboard, new, 22)
    hung(cupboard, FAST)
    after = ready(cupboard, new, 34)
    assert after.likely < alone.likely
    assert after.late - after.early < alone.late - alone.early
    shown = cupboard.do("piece", 34, code=new)
    (begun,) = [n for n in shown.forecast.notes if n.code == "begun_from_others"]
    assert begun.params == {"pieces": 1, "in_chamber": 1, "of_cut": 1}
    assert Words().note(begun).replace("\u00a0", " ").startswith("It begins from what 1 other piece taught")
    assert cupboard.do("piece", 34, code=new).forecast == shown.forecast


def learned(house: House, day: float = 40) -> LearnedShown:
    shown: LearnedShown = house.do("learned", day)
    return shown


def test_what_was_learned_is_told_in_words_and_comes_back_after_leaving_out(cupboard: House) -> None:
    assert learned(cupboard).speeds == () and learned(cupboard).spread is None
    codes = [hung(cupboard, FAST) for _ in range(2)]
    hung(cupboard, {24: "1.44 kg"})
    shown = learned(cupboard)
    chamber = next(s for s in shown.speeds if s.of == "chamber")
    assert chamber.name == "Cupboard" and chamber.pieces == 2
    assert chamber.times.low > 1 and chamber.says.code == "chamber_dries_faster"
    said = Words().note(chamber.says).replace("\u00a0", " ")
    assert said.startswith("Cupboard dries 1.") and "times as fast as its readings say, from 2 pieces" in said
    assert shown.traces[chamber.times.trace].cites
    assert [p.why_not for p in shown.pieces] == ["", "", "too_few_weigh_ins"]

    cupboard.do("exclude_piece", 40, code=codes[0], why="the door stood open")
    out = learned(cupboard)
    assert [p.why_not for p in out.pieces] == ["excluded", "", "too_few_weigh_ins"]
    assert next(s for s in out.speeds if s.of == "chamber").pieces == 1
    with pytest.raises(Refused):
        cupboard.do("exclude_piece", 40, code=codes[0])
    cupboard.do("exclude_piece", 41, code=codes[0], excluded=False)
    assert learned(cupboard, 41).speeds == shown.speeds


def test_a_chamber_begun_anew_forgets_and_its_pieces_still_teach_the_cut(cupboard: House) -> None:
    hung(cupboard, FAST)
    cupboard.do("reset_learning", 35, scope="chamber", key="cupboard", why="a fan was put in")
    shown = learned(cupboard)
    assert [s.of for s in shown.speeds] == ["cut"]
    new = hung(cupboard)  # hung on day 21, before the reset: of the old age
    later = cupboard.started(chamber="cupboard")
    cupboard.do("salt_piece", 30, code=later, salt="42 g", mix="3.9 g")
    cupboard.do("hang_piece", 50, code=later, mass="1.55 kg")
    notes = {
        code: next(
            n for n in cupboard.do("piece", 51, code=code).forecast.notes if n.code == "begun_from_others"
        ).params["in_chamber"]
        for code in (new, later)
    }
    assert notes == {new: 1, later: 0}
    cupboard.do("reset_learning", 60, scope="all")
    assert learned(cupboard, 61).speeds == ()
    assert learned(cupboard, 61).pieces[0].why_not == "before_reset"


@pytest.mark.parametrize(
    ("given", "code"),
    [
        ({"scope": "chamber"}, "reset_needs_key"),
        ({"scope": "all", "key": "cupboard"}, "reset_needs_key"),
        ({"scope": "chamber", "key": "nowhere"}, "chamber_unknown"),
    ],
)
def test_a_reset_says_of_what(cupboard: House, given: dict[str, str], code: str) -> None:
    with pytest.raises(Refused) as refused:
        cupboard.do("reset_learning", **given)
    assert [p.code for p in refused.value.problems] == [code]


def test_a_piece_does_not_learn_from_itself_nor_from_what_it_was_cut_from(cupboard: House) -> None:
    code = hung(cupboard, PLAIN)
    notes = cupboard.do("piece", 35, code=code).forecast.notes
    assert "begun_from_others" not in {n.code for n in notes}
    part = cupboard.do("cut_piece", 35, code=code, masses=["0.65 kg", "0.63 kg"]).codes[0]
    notes = cupboard.do("piece", 35, code=part).forecast.notes
    assert "begun_from_others" not in {n.code for n in notes}


def test_the_forecast_kept_is_the_forecast_made(cupboard: House) -> None:
    import json

    from saltfare.actions.forecast_kept import forecast_of, plain_of
    from saltfare.actions.piece_forecast import cast
    from saltfare.jobs import _canonical
    from saltfare.journal.piece import piece

    code = hung(cupboard, PLAIN)
    made = cast(cupboard.context(35), piece(cupboard.journal, code))
    assert made is not None
    again = forecast_of(json.loads(_canonical(plain_of(made.forecast))))
    for name in ("time_s", "mass_kg", "ready_frac", "crust_frac"):
        assert (getattr(again, name) == getattr(made.forecast, name)).all()
    for name in ("ready_s", "notes", "weigh_ins", "air", "diffusivity", "edge_frac", "target_mass_kg"):
        assert getattr(again, name) == getattr(made.forecast, name)


def test_a_weigh_in_is_offered_where_it_tells_more_and_never_late(cupboard: House) -> None:
    code = hung(cupboard, {24: "1.44 kg"}, target_loss="20 %")
    shown = cupboard.do("piece", 24, code=code)
    (step,) = shown.next
    offer = [n for n in shown.notes if n.code == "weigh_in_narrows"]
    assert (step.reason == "tells_most") == bool(offer)
    assert offer and offer[0].params["after_days"] < offer[0].params["now_days"]
    said = Words().note(offer[0])
    assert said.startswith("Weighed on ") and "days either way instead of" in said
    # the offer stays where it is as days pass, and is due, not late, when its day is over
    assert [n.on for n in cupboard.do("piece", 25, code=code).next] == [step.on]
    bench = cupboard.do("bench", 36)
    assert [d.step for d in (*bench.late, *bench.due)] == ["weigh_in"] and bench.late == ()
