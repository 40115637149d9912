"""Everything that really happens to a piece, from its page, as a browser without script would send it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from page_site import Node, Site, parsed, running

from saltfare.actions import registry
from saltfare.faces.web.forms import closed_up

NOW = datetime(2026, 9, 20, 9, 30, tzinfo=UTC)
# Invented: one piece to do things to.
PLAN = {
    "purpose": "home_cold",
    "cut": "pork_loin",
    "green_weight": "1.62 kg",
    "shape": "cylinder",
    "thickness": "75 mm",
    "length": "36 cm",
    "salt_share": "2.8 %",
    "mix": {"name": "jar", "nitrite": "6.25 %"},
    "scale_step": "0.1 g",
    "salting_temperature": "4 C",
    "chamber_temperature": "13 C",
    "chamber_humidity": "75 %",
    "target_loss": "25 %",
    "name": "Loin",
}


class Bench:
    """A site with a clock in the hand, and pieces brought to where they are wanted."""

    def __init__(self, site: Site, clock: list[datetime]) -> None:
        self.site, self.clock = site, clock

    def later(self, days: float) -> None:
        self.clock[0] += timedelta(days=days)

    def do(self, name: str, /, **given: Any) -> Any:
        return registry.run(name, self.site.house.context(), given)

    def piece(self, stage: str) -> str:
        code = str(self.do("start_piece", **PLAN).code)
        if stage != "planned":
            self.do("salt_piece", code=code, salt="42 g", mix="3.9 g")
        if stage == "hanging":
            self.do("hang_piece", code=code, mass="1.55 kg")
        self.later(0.1)
        return code

    def page(self, code: str) -> Node:
        return self.site.page(f"/pieces/{code}")

    def act(self, code: str, act: str, status: int = 200, **values: str) -> tuple[Node, str]:
        """Fill in an act's form and send it; the page that came of it and its address."""
        given = {name.replace("__", "."): text for name, text in values.items()}
        self.later(0.1)
        answer = self.site.send(self.page(code), f"/pieces/{code}/{act}", given)
        assert answer.status_code == status, parsed(answer.text).text[:600]
        return parsed(answer.text), str(answer.url)

    def offered(self, code: str) -> set[str]:
        actions = (f.attrs["action"].rpartition("/")[2] for f in self.page(code).all("form"))
        return set(actions) - {"correct", "note"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    clock = [NOW]
    folder: Path = tmp_path_factory.mktemp("acts")
    with running(folder, clock=lambda: clock[0]) as site:
        yield Bench(site, clock)


def _log(page: Node) -> list[str]:
    log = next(n for n in page.all("ol") if n.attrs.get("class") == "log")
    return [n.text for n in log.all("p") if n.attrs.get("class") == "entry"]


def test_the_common_act_stands_first_and_the_rest_under_one_disclosure(bench: Bench) -> None:
    for stage, first in (("planned", "salt"), ("in salt", "turn"), ("hanging", "weigh")):
        code = bench.piece(stage)
        page = bench.page(code)
        forms = [f for f in page.all("form") if "act" in f.attrs.get("class", "")]
        assert forms[0].attrs["action"] == f"/pieces/{code}/{first}"
        rest = next(n for n in page.all("details") if n.attrs.get("class") == "else")
        inside = {f.attrs["action"].rpartition("/")[2] for f in rest.all("form")}
        assert inside == bench.offered(code) - {first}
        assert "look" in inside and "discard" in inside


@pytest.mark.parametrize(
    ("stage", "act", "values", "told"),
    [
        ("in salt", "drain", {"liquid": "48", "salt": "18"}, "48 g poured off, of it salt 18 %"),
        ("in salt", "shape", {"how": "rolled", "thickness": "90"}, "rolled, 90 mm thick"),
        ("in salt", "inject", {"brine": "160", "salt": "11", "nitrite": "1500"}, "nitrite of the brine 1500"),
        (
            "in salt",
            "smoke",
            {"how": "cold", "lasted": "6", "temperature": "18", "core": "14"},
            "cold, for 6 h, at 18 C, middle at 14 C",
        ),
        ("hanging", "taste", {"before": "1540 g", "after": "1520 g"}, "1540 g before, 1520 g after"),
        ("in salt", "tare", {"tare": "38"}, "38 g"),
        (
            "in salt",
            "look",
            {"mould__1": "white", "mould__3": "green", "smell": "mushroom", "soft_spot": "true"},
            "mould: white, green, smell: of mushrooms, a soft spot",
        ),
        ("in salt", "rest", {"place": "lower fridge", "sealed": "false"}, "in lower fridge, open to the air"),
        ("in salt", "discard", {"why": "sour at the end"}, "sour at the end"),
    ],
)
def test_an_act_is_recorded_told_taken_back_and_put_back(
    bench: Bench, stage: str, act: str, values: dict[str, str], told: str
) -> None:
    code = bench.piece(stage)
    before = bench.offered(code)
    page, _ = bench.act(code, act, **values)
    assert told in _log(page)[0]
    # struck through once taken back, with its own way back
    struck = _undo(bench, page, code)
    gone = [n.text for n in struck.all("s")]
    assert any(told in text for text in gone) and "Taken back" in struck.text
    assert bench.offered(code) == before
    again = _undo(bench, struck, code)
    assert told in _log(again)[0] and not list(again.all("s"))


def test_a_weighing_answers_how_the_piece_stands_and_what_is_odd_about_it(bench: Bench) -> None:
    code = bench.piece("hanging")
    bench.later(2)
    page = bench.site.page("/")
    typed = {"mass": "1520", "mass_unit": "g"}
    told = parsed(bench.site.send(page, f"/pieces/{code}/weigh", typed).text)
    assert "Loin: Hanging 2\u00a0days; 1.9\u00a0% lost of the 25\u00a0% it is meant to lose" in told.text
    assert "Weigh again" not in told.text
    bench.later(2)
    again = bench.site.page(f"/pieces/{code}")
    # another piece on the hook: a tenth gone in two days
    odd = parsed(bench.site.send(again, f"/pieces/{code}/weigh", {"mass": "1340", "mass_unit": "g"}).text)
    lead = next(i for i, n in enumerate(odd.all("p")) if n.attrs.get("class") == "lead")
    near = " ".join(n.text for n in list(odd.all("p"))[lead : lead + 3])
    assert "Weigh again" in near


def test_the_bench_leads_to_buying_and_to_what_went_wrong_with_and_without_pieces(tmp_path: Path) -> None:
    with running(tmp_path, clock=lambda: NOW) as site:
        for _ in range(2):
            ways = {a.attrs["href"] for a in site.page("/").all("a")}
            assert {"/buying", "/looks", "/trouble"} <= ways
            registry.run("start_piece", site.house.context(), PLAN)


def test_freezing_is_recorded_from_the_bench(tmp_path: Path) -> None:
    clock = [NOW]
    with running(tmp_path, clock=lambda: clock[0]) as site:
        frozen: dict[str, Any] = {
            "parasite_step": "freeze",
            "freezing": {"temperature": "-21 C"},
            "origin": "farm",
        }
        code = registry.run("start_piece", site.house.context(), PLAN | frozen).code  # type: ignore[attr-defined]
        clock[0] += timedelta(days=22)
        way = next(a.attrs["href"] for a in site.page("/").all("a") if "/freezing" in a.attrs["href"])
        page = site.page(way)
        typed = {
            "begun": "2026-09-20T10:00",
            "ended": "2026-10-12T09:00",
            "warmest": "-20.5",
            "thickness": "80",
        }
        assert site.send(page, f"/criteria/{code}/freezing", typed).status_code == 200
        assert "/freezing" not in str([a.attrs["href"] for a in site.page("/").all("a")])
        done = site.house.context().journal.events(f"piece/{code}")[-1].body
        assert done.kind == "parasite_step" and done.frozen  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "more",
    [
        {"parasite_step": "freeze", "freezing": {"temperature": "-21 C"}, "origin": "farm"},
        {"applications": 2},
        {"rest_days": "6 d"},
        {"method": "brine_equilibrium", "brine": {"mass": "2.4 kg"}},
        {"method": "brine_uptake", "brine": {"mass": "4 kg", "uptake": "12 %"}},
        {"method": "pumped_rubbed", "brine": {"mass": "600 g", "uptake": "8 %", "strength": "20 %"}},
    ],
    ids=lambda more: next(iter(more.values())) if "method" in more else next(iter(more)),
)
def test_the_bench_tells_every_step_of_every_plan(tmp_path: Path, more: dict[str, Any]) -> None:
    clock = [NOW]
    with running(tmp_path, clock=lambda: clock[0]) as site:

        def do(name: str, /, **given: Any) -> Any:
            return registry.run(name, site.house.context(), given)

        made = do("start_piece", **PLAN | more)
        acts = {
            "inject_piece": {"brine": "130 g", "salt": "20 %"},
            "drain_piece": {"liquid": "40 g"},
            "rest_piece": {"place": "fridge", "temperature": "3 C", "sealed": False},
            "hang_piece": {"mass": "1.5 kg"},
        }
        told, seen = "", set()
        for _ in range(40):
            told = site.page("/").text  # a caution without its figure would be a failure here
            assert site.page(f"/pieces/{made.code}").text
            asked = [d for when in ("late", "due") for d in getattr(do("bench"), when) if d.act]
            seen |= {d.step for d in asked}
            for one in asked:
                if one.act == "record_parasite_step":
                    when = {"begun": NOW, "ended": clock[0], "warmest": "-21 C", "thickness": "80 mm"}
                    if clock[0] > NOW + timedelta(days=21):
                        do(one.act, code=made.code, frozen=True, **when)
                elif one.act == "salt_piece":
                    told_g = {a.quantity: f"{1000 * a.value:.1f} g" for a in one.amounts}
                    weighed = {"salt": "salt_dose", "mix": "cure_mix_dose"}
                    given = {k: told_g[v] for k, v in weighed.items() if v in told_g}
                    do(one.act, code=made.code, **given)
                elif one.act != "turn_piece":
                    do(one.act, code=made.code, **acts.get(one.act, {}))
            if "hang" in seen:
                break
            ahead = [d.days for d in do("bench").coming if d.act != "turn_piece"]
            clock[0] += timedelta(days=min(ahead, default=6))
        assert "hang" in seen and told


def _undo(bench: Bench, page: Node, code: str) -> Node:
    said = next(n for n in page.all("div") if n.attrs.get("class") == "said")
    event = next(n.attrs["value"] for n in said.all("input") if n.attrs["name"] == "event_id")
    answer = bench.site.send(page, f"/pieces/{code}/correct", {"event_id": event, "what": "withdraw"})
    assert answer.status_code == 200
    return parsed(answer.text)


def test_a_rest_begins_and_ends(bench: Bench) -> None:
    code = bench.piece("hanging")
    page, _ = bench.act(code, "rest", place="fridge", sealed="true", temperature="3")
    assert "Resting." in page.text
    assert {"end-rest", "cut", "take-down"} <= bench.offered(code) and "weigh" not in bench.offered(code)
    page, _ = bench.act(code, "end-rest", mass="1530", mass_unit="g")
    assert _log(page)[0].endswith("Hung again. 1530 g")


def test_a_sealed_rest_in_the_warmth_asks_why_at_its_control(bench: Bench) -> None:
    code = bench.piece("in salt")
    page, _ = bench.act(code, "rest", 422, place="larder", sealed="true", temperature="12")
    field = next(n for n in page.all("input") if n.attrs.get("id") == "rest-temperature")
    assert field.attrs["value"] == "12" and field.attrs["aria-invalid"] == "true"
    place = next(n for n in page.all("input") if n.attrs.get("id") == "rest-place")
    assert place.attrs["value"] == "larder"
    assert "botulism" in page.text
    answer = bench.site.send(
        page, f"/pieces/{code}/rest", {"reasons.temperature": "the logger stands by the door"}
    )
    assert answer.status_code == 200 and "the logger stands by the door" in parsed(answer.text).text


def test_cutting_up_leads_to_the_parts_and_is_taken_back_whole(bench: Bench) -> None:
    code = bench.piece("hanging")
    # the second row left open: what stands in the third is the second part
    page, _ = bench.act(
        code, "cut", masses__0="0.80", masses__0_unit="kg", masses__2="740", masses__2_unit="g"
    )
    assert "Cut up" in page.text
    parts = [a.attrs["href"].rpartition("/")[2] for a in page.all("a") if "/pieces/" in a.attrs["href"]]
    parts = [p for p in parts if p not in ("plan", code)]
    assert len(parts) == 2
    part = bench.page(parts[0])
    assert f"Cut from {code}" in part.text
    _undo(bench, page, code)
    assert bench.site.get(f"/pieces/{parts[0]}").status_code == 404
    assert "Hanging" in bench.page(code).text


def test_parts_heavier_than_the_whole_ask_why(bench: Bench) -> None:
    code = bench.piece("hanging")
    page, _ = bench.act(
        code, "cut", 422, masses__0="1", masses__0_unit="kg", masses__1="0.9", masses__1_unit="kg"
    )
    group = next(n for n in page.all("fieldset") if n.attrs.get("id") == "cut-masses")
    assert any(n.attrs.get("name") == "reasons.masses" for n in group.all("input"))
    assert [n.attrs["value"] for n in group.all("input") if n.attrs["name"] == "masses.1"] == ["0.9"]


def test_tying_leads_to_the_piece_that_goes_on(bench: Bench) -> None:
    one, other = bench.piece("hanging"), bench.piece("hanging")
    page, url = bench.act(
        one,
        "tie",
        masses__0="1540 g",
        codes__1=other,
        masses__1="1535 g",
        name="Both",
        shape="cylinder",
        thickness="110",
        length="360",
    )
    new = url.partition("?")[0].rpartition("/")[2]
    assert new not in (one, other) and "Both" in page.text
    assert "Tied into another piece" in bench.page(one).text
    # and taking it back leads to where the meat is again
    back = _undo(bench, page, new)
    assert "Hanging" in back.text and bench.site.get(f"/pieces/{new}").status_code == 404


def test_taking_down_makes_lots(bench: Bench) -> None:
    code = bench.piece("hanging")
    given = {
        "mass": "1.2",
        "mass_unit": "kg",
        "trim": "40",
        "portions__0__packs": "4",
        "portions__0__mass": "200",
        "portions__0__sealed": "air",
        "portions__0__place": "fridge",
        "portions__2__packs": "1",
        "portions__2__mass": "340",
        "portions__2__sealed": "open",
        "portions__2__place": "cellar",
    }
    asked, _ = bench.act(code, "take-down", 422, **given)
    assert "above its mass" in asked.text
    kept = next(n for n in asked.all("input") if n.attrs.get("name") == "portions.1.place")
    assert kept.attrs["value"] == "cellar"
    answer = bench.site.send(asked, f"/pieces/{code}/take-down", {"reasons.mass": "wanted for Sunday"})
    page = parsed(answer.text)
    assert answer.status_code == 200 and "trim 40 g, lots " in _log(page)[0]
    lots = [a.attrs["href"] for a in page.all("a") if a.attrs["href"].startswith("/L/")]
    assert len(lots) == 2
    made = [bench.site.house.context().journal.events(f"lot/{at.rpartition('/')[2]}")[0].body for at in lots]
    assert [(m.packs, m.mass.value, m.sealed) for m in made] == [(4, 0.2, "air"), (1, 0.34, "open")]  # type: ignore[attr-defined]


def test_hook_scale_and_unit_are_remembered(bench: Bench) -> None:
    code = bench.piece("hanging")
    bench.act(code, "weigh", mass="1.56", mass_unit="kg", tare="38", scale_step="2")
    page = bench.page(code)
    form = next(f for f in page.all("form") if f.attrs["action"].endswith("/weigh"))
    held = {n.attrs["name"]: n.attrs.get("value", "") for n in form.all("input") if "name" in n.attrs}
    assert (held["tare"], held["scale_step"]) == ("38", "2")
    unit = next(n for n in form.all("select") if n.attrs["name"] == "mass_unit")
    assert [o.attrs["value"] for o in unit.all("option") if "selected" in o.attrs] == ["kg"]
    # what hangs with it from now on, too
    bench.act(code, "tare", tare="52")
    form = next(f for f in bench.page(code).all("form") if f.attrs["action"].endswith("/weigh"))
    assert next(n for n in form.all("input") if n.attrs.get("name") == "tare").attrs["value"] == "52"
    bench.later(9)
    due = next(f for f in bench.site.page("/").all("form") if f.attrs["action"] == f"/pieces/{code}/weigh")
    held = {n.attrs["name"]: n.attrs.get("value", "") for n in due.all("input") if "name" in n.attrs}
    assert (held["tare"], held["scale_step"]) == ("52", "2")
    unit = next(n for n in due.all("select") if n.attrs["name"] == "mass_unit")
    assert [o.attrs["value"] for o in unit.all("option") if "selected" in o.attrs] == ["kg"]


def test_gaps_in_a_list_close_and_reasons_move_along() -> None:
    typed = {
        "masses.0": "1",
        "masses.0_unit": "kg",
        "masses.1": " ",
        "masses.1_unit": "g",
        "masses.2": "3",
        "masses.2_unit": "kg",
        "reasons.masses.2": "so",
        "mass": "5",
    }
    closed = {k: v for k, v in closed_up(typed).items() if v}
    assert closed == {
        "masses.0": "1",
        "masses.0_unit": "kg",
        "masses.1": "3",
        "masses.1_unit": "kg",
        "reasons.masses.1": "so",
        "mass": "5",
    }
