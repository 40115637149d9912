"""Whatever is done to a journal, in whatever order, it holds what a plain list would hold."""

from __future__ import annotations

import shutil
import tempfile
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from journal_bench import NOON, hung, seeded, started, weighed

from saltfare.core.errors import Conflict, NotFound, Refused
from saltfare.journal import exchange
from saltfare.journal.events import Body, Corrected, Draft, Event, Noted
from saltfare.journal.fold import effective
from saltfare.journal.piece import piece_state
from saltfare.journal.readings import Reading
from saltfare.journal.store import Journal

PIECES = ("piece/A", "piece/B")
MINUTE = timedelta(minutes=1)

bodies = st.one_of(
    st.builds(weighed, st.floats(0.1, 9.0)),
    st.builds(hung, st.floats(0.1, 9.0)),
    st.builds(Noted, text=st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=20)),
    st.just(started()),
)
minutes = st.integers(-1000, 1000)


class JournalMachine(RuleBasedStateMachine):
    """The model: a list of (stream, kind, body, at, corrects), readings in a dictionary, requests."""

    def __init__(self) -> None:
        super().__init__()
        memory = "/dev/shm" if Path("/dev/shm").is_dir() else None
        self.folder = Path(tempfile.mkdtemp(prefix="saltfare-machine-", dir=memory))
        self.path = self.folder / "journal.db"
        self.journal = Journal.open(self.path, entropy=seeded())
        self.now = NOON
        self.told: list[tuple[str, Body, object, str | None]] = []
        self.events: list[Event] = []
        self.requests: dict[str, tuple[Event, ...]] = {}
        self.air: dict[int, tuple[float, float]] = {}
        self.copies: list[tuple[Path, int, dict[int, tuple[float, float]], set[str]]] = []

    def teardown(self) -> None:
        self.journal.close()
        shutil.rmtree(self.folder)

    def _note(self, stream: str, body: Body, at, corrects: str | None, event: Event) -> None:
        self.told.append((stream, body, at, corrects))
        self.events.append(event)

    @rule(jump=st.integers(-5000, 5000))
    def clock_is_set(self, jump: int) -> None:
        self.now += jump * MINUTE

    @rule(stream=st.sampled_from(PIECES), body=bodies, minute=minutes)
    def append(self, stream: str, body: Body, minute: int) -> None:
        at = NOON + minute * MINUTE
        event = self.journal.append(stream, body, at=at, zone="UTC", actor="t", recorded_at=self.now)
        self._note(stream, body, at, None, event)

    @rule(
        drafts=st.lists(st.tuples(st.sampled_from(PIECES), bodies, minutes), min_size=1, max_size=3),
        request_id=st.sampled_from(["r1", "r2", "r3"]),
    )
    def append_by_request(self, drafts, request_id: str) -> None:
        made = [Draft(s, b, NOON + m * MINUTE, "UTC", "t", self.now) for s, b, m in drafts]
        before = self.requests.get(request_id)
        if before is None:
            self.requests[request_id] = self.journal.append_many(made, request_id=request_id)
            for one, event in zip(made, self.requests[request_id], strict=True):
                self._note(one.stream, one.body, one.at, None, event)
            return
        there = {event.stream for event in self.events}
        same = [e.body.kind for e in before] == [d.body.kind for d in made] and all(
            d.stream not in there or (e.stream == d.stream and e.body == d.body)
            for e, d in zip(before, made, strict=True)
        )
        if same:
            assert self.journal.append_many(made, request_id=request_id) == before
        else:
            with pytest.raises(Refused):
                self.journal.append_many(made, request_id=request_id)

    @rule(stream=st.sampled_from(PIECES), seen=st.integers(0, 6), body=bodies)
    def append_having_seen(self, stream: str, seen: int, body: Body) -> None:
        now = sum(one[0] == stream for one in self.told)
        more = {"at": NOON, "zone": "UTC", "actor": "t", "recorded_at": self.now, "seen_version": seen}
        if seen == now:
            self._note(stream, body, NOON, None, self.journal.append(stream, body, **more))
        else:
            with pytest.raises(Conflict):
                self.journal.append(stream, body, **more)

    @precondition(lambda self: self.events)
    @rule(data=st.data(), what=st.sampled_from(["withdraw", "replace"]))
    def correct(self, data, what: str) -> None:
        target = data.draw(st.sampled_from(self.events))
        if target.stream not in PIECES:
            return
        root = target
        while root.corrects is not None:
            root = next(event for event in self.events if event.id == root.corrects)
        new = None
        if what == "replace":
            new = data.draw(bodies.filter(lambda body: body.kind == root.kind))
        body = Corrected(what=what, new=new)  # type: ignore[arg-type]
        event = self.journal.append(
            target.stream, body, at=NOON, zone="UTC", actor="t", recorded_at=self.now, corrects=target.id
        )
        self._note(target.stream, body, NOON, target.id, event)

    @rule(given=st.dictionaries(st.integers(0, 9), st.tuples(st.floats(0, 30), st.floats(0, 1)), min_size=1))
    def take_in_air(self, given) -> None:
        rows = [Reading(NOON + m * MINUTE, t, h) for m, (t, h) in given.items()]
        more = {"zone": "UTC", "actor": "t", "recorded_at": self.now}
        if any(self.air.get(m, v) != v for m, v in given.items()):
            with pytest.raises(Refused):
                self.journal.readings.import_("cup", rows, **more)
            return
        done = self.journal.readings.import_("cup", rows, **more)
        new = given.keys() - self.air.keys()
        assert done.new == len(new)
        if done.event is not None:
            self._note("chamber/cup", done.event.body, done.event.at, None, done.event)
        self.air.update(given)

    @rule()
    def open_again(self) -> None:
        self.journal.close()
        self.journal = Journal.open(self.path, entropy=seeded(len(self.told) + 2))

    @rule()
    def back_up(self) -> None:
        target = self.folder / f"backup-{len(self.copies)}.db"
        made = self.journal.backup(target)
        assert made.events == len(self.told)
        self.copies.append((target, len(self.told), dict(self.air), set(self.requests)))

    @precondition(lambda self: self.copies)
    @rule(data=st.data())
    def restore(self, data) -> None:
        target, length, air, requests = data.draw(st.sampled_from(self.copies))
        self.journal.close()
        done = Journal.restore(self.path, target, dry_run=False)
        assert done.backup.events == length
        self.told, self.events, self.air = self.told[:length], self.events[:length], dict(air)
        self.requests = {name: self.requests[name] for name in requests if name in self.requests}
        # copies of another course of things can still be restored, but the model no longer holds them
        self.copies = [one for one in self.copies if one[1] <= length]
        self.journal = Journal.open(self.path, entropy=seeded(1000 + len(list(self.folder.iterdir()))))

    @rule()
    def leave_and_come_back(self) -> None:
        out, fresh = self.folder / "out.jsonl", self.folder / "fresh.db"
        exchange.export(self.journal, out)
        fresh.unlink(missing_ok=True)
        with Journal.open(fresh) as other:
            exchange.take_in(other, out, dry_run=False)
            assert list(exchange.lines(other)) == list(exchange.lines(self.journal))

    @invariant()
    def holds_what_the_list_holds(self) -> None:
        found = self.journal.events()
        assert [(e.stream, e.body, e.at, e.corrects) for e in found] == self.told
        assert list(found) == self.events
        assert [e.seq for e in found] == list(range(1, len(self.told) + 1))
        for stream in PIECES:
            own = tuple(e for e in found if e.stream == stream)
            assert self.journal.events(stream) == own
            assert self.journal.stream_head(stream) == len(own)
            # kept state is rebuilt state
            assert self.journal.fold(stream, piece_state) == (piece_state(own) if own else None)
        air = self.journal.readings.range("cup", NOON, NOON + 9 * MINUTE)
        assert {(a.at - NOON) // MINUTE: (a.temp_c, a.rh_frac) for a in air} == self.air
        for name, events in self.requests.items():
            assert self.journal.answered(name) == events

    @invariant()
    def holds_together(self) -> None:
        found = self.journal.verify()
        assert found.ok, found.faults
        assert (found.events, found.readings) == (len(self.told), len(self.air))


TestJournal = JournalMachine.TestCase
TestJournal.settings = settings(
    max_examples=10, stateful_step_count=12, deadline=None, suppress_health_check=list(HealthCheck)
)


@pytest.mark.deep
class TestJournalDeep(JournalMachine.TestCase):  # type: ignore[misc]
    settings = settings(
        max_examples=60, stateful_step_count=30, deadline=None, suppress_health_check=list(HealthCheck)
    )


def test_facts_of_pieces_do_not_depend_on_events_of_others(tmp_path: Path):
    """Independent streams in two orders of recording: the same facts but for their places."""
    told = []
    for order in ((0, 1, 2, 3), (2, 0, 3, 1)):
        with Journal.open(tmp_path / f"{order}.db", entropy=seeded()) as journal:
            drafts = [
                ("piece/A", weighed(2.0)),
                ("piece/A", weighed(1.9)),
                ("piece/B", hung(3.0)),
                ("piece/B", weighed(2.8)),
            ]
            for index in order:
                stream, body = drafts[index]
                journal.append(
                    stream, body, at=NOON + index * MINUTE, zone="UTC", actor="t", recorded_at=NOON
                )
            told.append({s: [(f.body, f.at) for f in effective(journal.events(s))] for s in PIECES})
            with pytest.raises(NotFound):
                journal.event("x")
    assert told[0] == told[1]
