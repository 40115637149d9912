"""Corrections, late weigh-ins, and the states of pieces and chambers."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from journal_bench import NOON, Bench, hung, kg, seeded, started, weighed

from saltfare.core.errors import NotFound
from saltfare.core.fields import Measured
from saltfare.journal import chamber as chambers
from saltfare.journal import piece as pieces
from saltfare.journal.events import Corrected, Event, Noted, SettingChanged, uuid7
from saltfare.journal.events_chamber import ChamberDescribed
from saltfare.journal.events_piece import ForecastIssued, Salted, TakenDown, Turned, Washed
from saltfare.journal.fold import effective, fold, in_time
from saltfare.journal.piece import State, piece, piece_state
from saltfare.journal.readings import Reading


def masses(bench: Bench) -> list[float]:
    return [one.body.mass.value for one in piece(bench.journal, "A").weigh_ins]


@pytest.fixture
def loin(bench: Bench) -> Bench:
    bench.put("piece/A", started(target=1.3))
    bench.put("piece/A", Salted(), hours=1)
    bench.put("piece/A", hung(1.9), hours=100)
    return bench


def test_a_piece_goes_through_its_states(bench: Bench):
    seen = []
    for body in (
        started(target=1.3),
        Salted(),
        Turned(),
        Washed(),
        hung(1.9),
        weighed(1.6),
        weighed(1.3),
        TakenDown(),
    ):
        bench.put("piece/A", body)
        seen.append(piece(bench.journal, "A").state)
    assert seen == [
        State.PLANNED, State.IN_SALT, State.IN_SALT, State.RESTING,
        State.HANGING, State.HANGING, State.AT_ITS_MASS, State.TAKEN_DOWN,
    ]  # fmt: skip
    state = piece(bench.journal, "A")
    assert (state.code, state.name, state.version) == ("A", "loin", 8)
    assert (state.green_weight_kg, state.target_mass_kg, state.last_mass_kg) == (2.0, 1.3, 1.3)
    assert state.chamber == "cupboard" and state.started_at == NOON
    assert {one.value for one in State} == {
        "planned", "in salt", "draining", "resting", "hanging", "at its mass", "taken down",
    }  # fmt: skip


def test_at_its_mass_is_the_last_weigh_in_in_time_at_or_below_the_target(loin: Bench):
    loin.put("piece/A", weighed(1.31), hours=300)
    assert piece(loin.journal, "A").state is State.HANGING
    loin.put("piece/A", weighed(1.25), hours=290)  # recorded later, measured before
    assert piece(loin.journal, "A").state is State.HANGING
    loin.put("piece/A", weighed(1.3), hours=310)
    assert piece(loin.journal, "A").state is State.AT_ITS_MASS
    without = Bench(loin.journal)
    without.put("piece/B", started(target=None))
    without.put("piece/B", hung(1.9))
    without.put("piece/B", weighed(0.1))
    assert piece(loin.journal, "B").state is State.HANGING


def test_a_late_weigh_in_takes_its_place_in_time(loin: Bench):
    for hours, value in ((200, 1.7), (400, 1.5), (300, 1.6), (300, 1.59)):
        loin.put("piece/A", weighed(value), hours=hours)
    assert masses(loin) == [1.7, 1.6, 1.59, 1.5]
    assert piece(loin.journal, "A").last_mass_kg == 1.5


def test_a_correction_replaces_withdraws_and_moves_and_can_be_undone(loin: Bench):
    wrong = loin.put("piece/A", weighed(17.0), hours=200)
    loin.put("piece/A", weighed(1.5), hours=300)
    right = loin.put(
        "piece/A", Corrected(what="replace", new=weighed(1.7), reason="point"), corrects=wrong.id
    )
    entry = piece(loin.journal, "A").weigh_ins[0]
    assert masses(loin) == [1.7, 1.5]
    assert (entry.event_id, entry.corrected_by) == (wrong.id, right.id)
    moved = Corrected(what="replace", new_at=NOON + timedelta(hours=350))
    loin.put("piece/A", moved, corrects=wrong.id)
    assert masses(loin) == [1.5, 1.7]  # later in time, and the corrected mass stays
    loin.put("piece/A", Corrected(what="replace", new=weighed(1.71)), corrects=right.id)
    assert masses(loin) == [1.5, 1.71]
    undo = loin.put("piece/A", Corrected(what="withdraw"), corrects=right.id)
    assert masses(loin) == [1.5, 17.0]
    loin.put("piece/A", Corrected(what="withdraw"), corrects=undo.id)
    assert masses(loin) == [1.5, 1.71]
    gone = loin.put("piece/A", Corrected(what="withdraw"), corrects=wrong.id)
    assert masses(loin) == [1.5]
    loin.put("piece/A", Corrected(what="withdraw"), corrects=gone.id)
    assert masses(loin) == [1.5, 1.71]
    assert wrong in loin.journal.events("piece/A")  # the first record stays readable


def test_a_withdrawn_hanging_takes_the_piece_back_to_where_it_was(loin: Bench):
    (hanging,) = piece(loin.journal, "A").hung
    loin.put("piece/A", Corrected(what="withdraw"), corrects=hanging.event_id)
    assert piece(loin.journal, "A").state is State.IN_SALT


def test_a_piece_whose_start_was_withdrawn_is_not_there(loin: Bench):
    state = piece(loin.journal, "A")
    gone = loin.put("piece/A", Corrected(what="withdraw"), corrects=state.started_id)
    with pytest.raises(NotFound):
        piece(loin.journal, "A")
    assert pieces.pieces(loin.journal) == ()
    loin.put("piece/A", Corrected(what="withdraw"), corrects=gone.id)
    assert piece(loin.journal, "A").hung
    with pytest.raises(NotFound):
        piece(loin.journal, "none")


def test_a_piece_planned_anew_keeps_what_happened(loin: Bench):
    loin.put("piece/A", started(name="loin again", target=1.5))
    state = piece(loin.journal, "A")
    assert (state.name, state.target_mass_kg, len(state.hung)) == ("loin again", 1.5, 1)


def test_notes_forecasts_and_reasons_are_kept(loin: Bench):
    loin.put("piece/A", Noted(text="white bloom"), hours=200)
    loin.put("piece/A", ForecastIssued(model_version="1", piece_version=3, air={"rh_frac": 0.75}))
    odd = weighed(1.95).model_copy(update={"reasons": {"mass": "netting was wet"}})
    loin.put("piece/A", odd, hours=200)
    state = piece(loin.journal, "A")
    assert state.notes[0].body.text == "white bloom"
    assert state.forecasts[0].body.air == {"rh_frac": 0.75}
    assert state.weigh_ins[0].body.reasons == {"mass": "netting was wet"}


def test_all_pieces_come_in_the_order_they_were_started(bench: Bench):
    for code in ("C", "A", "B"):
        bench.put(f"piece/{code}", started(name=code))
    assert [one.code for one in pieces.pieces(bench.journal)] == ["C", "A", "B"]


def test_a_chamber_has_its_description_imports_and_notes(bench: Bench):
    bench.journal.readings.append(
        "cup", Reading(NOON, 12.0, 0.75), zone="UTC", actor="test", recorded_at=NOON, origin="by hand"
    )
    assert chambers.chamber(bench.journal, "cup").name == "cup"
    humidity = Measured(typed="76 %", value=0.76)
    first = bench.put("chamber/cup", ChamberDescribed(name="cool cupboard", humidity=humidity))
    bench.put("chamber/cup", Noted(text="new seal"))
    state = chambers.chamber(bench.journal, "cup")
    assert (state.name, state.described_id, state.version) == ("cool cupboard", first.id, 3)
    assert state.described is not None and state.described.humidity == humidity
    assert [one.body.origin for one in state.imports] == ["by hand"] and len(state.notes) == 1
    assert chambers.chambers(bench.journal) == (state,)
    with pytest.raises(NotFound):
        chambers.chamber(bench.journal, "none")


def test_the_last_word_on_a_setting_counts_and_none_puts_it_back(bench: Bench):
    assert chambers.settings(bench.journal) == {}
    for name, value in (("zone", "UTC"), ("decimal", "comma"), ("zone", "Europe/Vienna"), ("decimal", None)):
        bench.put("settings", SettingChanged(name=name, value=value))
    assert chambers.settings(bench.journal) == {"zone": "Europe/Vienna"}


# against a naive reading of what a correction means


@dataclass(frozen=True)
class Said:
    """target: index of the event corrected, None for a weigh-in."""

    value: float
    target: int | None
    what: str
    minute: int | None


@st.composite
def histories(draw) -> list[Said]:
    out: list[Said] = []
    for index in range(draw(st.integers(1, 9))):
        value = float(draw(st.integers(1, 50)))
        if index == 0 or draw(st.booleans()):
            out.append(Said(value, None, "weigh", draw(st.integers(0, 30))))
            continue
        what = draw(st.sampled_from(["replace", "move", "both", "withdraw"]))
        minute = draw(st.integers(0, 30)) if what in ("move", "both") else None
        out.append(Said(value, draw(st.integers(0, index - 1)), what, minute))
    return out


def as_events(history: list[Said]) -> list[Event]:
    chance, out = seeded(3), []
    for seq, said in enumerate(history, 1):
        body = weighed(said.value)
        if said.target is not None:
            new_at = None if said.minute is None else NOON + timedelta(minutes=said.minute)
            body = Corrected(
                what="withdraw" if said.what == "withdraw" else "replace",
                new=weighed(said.value) if said.what in ("replace", "both") else None,
                new_at=new_at,
            )
        at = NOON + timedelta(minutes=said.minute or 0)
        corrects = None if said.target is None else out[said.target].id
        out.append(
            Event(
                seq,
                uuid7(NOON, chance),
                "piece/A",
                seq,
                body.kind,
                1,
                at,
                "UTC",
                NOON,
                "t",
                None,
                corrects,
                body,
                "",
                "",
            )
        )
    return out


def naive(history: list[Said]) -> list[tuple[float, int]]:
    """What remains, told by recursion: what an event says once all that corrects it has had its say.

    A said thing is ("gone",) or (what, value or None, minute or None). Later corrections come last and
    win; a withdrawal followed by a replacement is the replacement."""

    def says(index: int):
        one = history[index]
        if one.target is None:
            now = ("weigh", one.value, one.minute)
        elif one.what == "withdraw":
            now = ("withdraw", None, None)
        else:
            now = ("replace", one.value if one.what in ("replace", "both") else None, one.minute)
        for later in range(index + 1, len(history)):
            if history[later].target != index:
                continue
            change = says(later)
            if change[0] == "gone":
                continue
            if change[0] == "withdraw":
                now_before = now if now[0] != "gone" else now[1]
                now = ("gone", now_before, None)
                continue
            base = original(index) if now[0] == "gone" else now
            kind = "weigh" if history[index].target is None else "replace"
            now = (
                kind,
                base[1] if change[1] is None else change[1],
                base[2] if change[2] is None else change[2],
            )
        return now

    def original(index: int):
        one = history[index]
        if one.target is None:
            return ("weigh", one.value, one.minute)
        return (
            "replace",
            one.value if one.what in ("replace", "both") else None,
            one.minute if one.what != "withdraw" else None,
        )

    out = []
    for index, one in enumerate(history):
        if one.target is None:
            final = says(index)
            if final[0] != "gone":
                out.append((final[1], final[2]))
    return out


@settings(max_examples=400, deadline=None)
@given(histories())
def test_corrections_mean_what_a_naive_reading_says(history: list[Said]):
    minutes = timedelta(minutes=1)
    found = [(fact.body.mass.value, (fact.at - NOON) // minutes) for fact in effective(as_events(history))]
    assert found == naive(history)


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 99))))
def test_a_series_is_in_time_and_of_the_same_instant_in_order_of_record(pairs):
    @dataclass(frozen=True)
    class One:
        at: object
        value: int

    series: tuple = ()
    for minute, value in pairs:
        series = in_time(series, One(NOON + timedelta(minutes=minute), value))
    wanted = sorted(pairs, key=lambda pair: pair[0])  # stable
    assert [((one.at - NOON).seconds // 60, one.value) for one in series] == wanted


@settings(max_examples=50, deadline=None)
@given(st.permutations(list(range(5))))
def test_the_order_of_recording_weigh_ins_does_not_matter(order):
    history = [Said(2.0 - i / 10, None, "weigh", i) for i in range(5)]
    shuffled = as_events([history[i] for i in order])
    start = Event(
        0, "start", "piece/A", 0, "started", 1, NOON, "UTC", NOON, "t", None, None, started(), "", ""
    )
    state = piece_state((start, *shuffled))
    assert state is not None
    assert [one.body.mass for one in state.weigh_ins] == [kg(2.0 - i / 10) for i in range(5)]


def test_kinds_without_a_handler_leave_the_state_as_it_is():
    events = as_events([Said(1.0, None, "weigh", 0), Said(2.0, None, "weigh", 1)])
    assert fold(events, 7, {}) == 7
    assert fold(events, 0, {type(events[0].body): lambda s, fact, body: s + body.mass.value}) == 3.0
