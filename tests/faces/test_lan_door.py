"""The door: passphrases, how they are kept, sessions, the throttle, the lock. A clock set by hand.

Requirements: NIST SP 800-63B-4 (3.1.1.2 passwords, 3.2.2 rate limiting), RFC 9106 (Argon2), OWASP ASVS 5
(sessions) and the OWASP password storage cheat sheet (least cost).
"""

from __future__ import annotations

import json
import logging
import os
import re
import stat
import statistics
import threading
import time
import unicodedata
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from argon2 import extract_parameters, profiles
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from saltfare.core.errors import NotFound, Refused
from saltfare.faces.door import keeper, passphrase, throttle
from saltfare.faces.door.keeper import ABSOLUTE, IDLE, Door, client_key
from saltfare.faces.door.passphrase import COST, Cost, Hasher
from saltfare.faces.door.store import NAME, DoorBroken, Failures, Store
from saltfare.faces.words import find
from saltfare.journal import exchange
from saltfare.journal.store import Journal

CHEAP = Cost(memory_kib=8, passes=1, lanes=1)
PASS = "seven herons over the weir"
LESS = "a cupboard that stays cool"
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PHONE, OTHER = "192.168.1.7", "192.168.1.8"


class Clock:
    """A clock set by hand."""

    def __init__(self) -> None:
        self.at = START

    def __call__(self) -> datetime:
        return self.at

    def on(self, **by: float) -> None:
        self.at += timedelta(**by)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def door(tmp_path: Path, clock: Clock) -> Door:
    made = Door(tmp_path, clock=clock, cost=CHEAP)
    made.set_passphrase("all", PASS)
    return made


def code(error: pytest.ExceptionInfo[Refused]) -> str:
    return error.value.problems[0].code


def guess(door: Door, text: str = "not the passphrase", client: str = PHONE) -> str:
    """What comes of an attempt: "in", or the code of the refusal."""
    try:
        door.sign_in(text, client=client)
    except Refused as error:
        return error.problems[0].code
    return "in"


# what a passphrase may be


@pytest.mark.parametrize(
    "text",
    [
        "a" * 7 + "bcdefgh" + "i",
        "correct horse staple",
        "     spaced  out     ",
        "ключ от кладовой 12",
        "塩漬け肉は冷暗所に吊るして乾かす",
        "🥩 hung 🥩 in the cellar",
        "x1" + "wren thistle " * 4 + "end of sixty-four and more",
        "no\x00stopping at a NUL",
        "lowercaseonlynothingelse",
    ],
)
def test_length_is_asked_for_and_nothing_of_the_make_up(text: str) -> None:
    passphrase.check(text)
    hasher = Hasher(CHEAP)
    assert hasher.matches(hasher.hash(text), text)


@pytest.mark.parametrize(
    ("text", "wrong"),
    [
        ("", "passphrase_short"),
        ("fourteen chars"[:14], "passphrase_short"),
        ("e\u0301" * 8, "passphrase_short"),  # eight letters, however they are spelled
        ("\ufdfa", "passphrase_short"),  # one sign, which NFKC writes as eighteen
        ("heron weir moss lantern " * 50, "passphrase_long"),
        ("aaaaaaaaaaaaaaaaaaaa", "passphrase_guessable"),
        ("saltsaltsaltsaltsa", "passphrase_guessable"),
        ("123456789012345678", "passphrase_guessable"),
        ("qwertyuiopasdfgh", "passphrase_guessable"),
        ("ponmlkjihgfedcba", "passphrase_guessable"),
        ("Ab1! Ab1! Ab1! Ab1!", "passphrase_guessable"),
        ("Saltfare Passphrase 2026", "passphrase_guessable"),
        ("correct horse battery staple", "passphrase_guessable"),
        ("half a \ud800 pair is no text", "passphrase_not_text"),
    ],
)
def test_what_is_short_long_or_guessed_early_is_refused(text: str, wrong: str) -> None:
    with pytest.raises(Refused) as error:
        passphrase.check(text)
    assert code(error) == wrong


@settings(max_examples=60, deadline=None)
@given(st.text(st.characters(exclude_categories=["Cs"]), min_size=15, max_size=90), st.data())
def test_any_text_of_fifteen_is_taken_whole(text: str, data: st.DataObject) -> None:
    assume(len(unicodedata.normalize("NFKC", text)) >= 15)
    try:
        passphrase.check(text)
    except Refused as error:
        assert error.problems[0].code == "passphrase_guessable"
        return
    hasher = Hasher(CHEAP)
    kept = hasher.hash(text)
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert hasher.matches(kept, unicodedata.normalize(form, text))
    at = data.draw(st.integers(0, len(text) - 1))
    changed = text[:at] + ("#" if text[at] != "#" else "%") + text[at + 1 :]
    if passphrase.normal(changed) != passphrase.normal(text):
        assert not hasher.matches(kept, changed), "a character at any place counts"
    assert not hasher.matches(kept, text + "x")


def test_words_are_offered_by_chance_each_as_likely_and_pass_the_rule() -> None:
    words = tuple(str(find("door.words")).split())
    assert len(words) == len(set(words)) == 512  # nine bits a word
    assert all(re.fullmatch("[a-z]{3,9}", word) for word in words)
    assert passphrase.offered(lambda n: b"\x01\xff"[-n:], words) == " ".join([words[511]] * 6)
    counted = [0] * 512
    for high in range(256):
        for low in range(0, 256, 5):
            drawn = bytes((high, low))
            counted[words.index(passphrase.offered(lambda _, d=drawn: d, words, 1))] += 1  # type: ignore[misc]
    assert {n for n in counted if n} == {128}
    for _ in range(50):
        passphrase.check(passphrase.offered(os.urandom, words))
    with pytest.raises(ValueError, match="power of two"):
        passphrase.offered(os.urandom, words[:500])


# how it is kept


def test_the_hash_in_use_costs_what_it_should_and_says_so() -> None:
    made = Hasher().hash(PASS)
    found = extract_parameters(made)
    assert made.startswith("$argon2id$v=19$")
    of_the_rfc = profiles.RFC_9106_LOW_MEMORY  # section 4, as the library has it
    for name in ("type", "version", "memory_cost", "time_cost", "parallelism", "salt_len", "hash_len"):
        assert getattr(found, name) == getattr(of_the_rfc, name)
    assert found.memory_cost >= 19 * 1024 and found.time_cost >= 2 and found.parallelism >= 1
    assert found.salt_len == 16 and found.hash_len == 32
    assert Hasher(COST).matches(made, PASS) and not Hasher(COST).matches(made, PASS + " ")
    assert made != Hasher().hash(PASS), "every hash has its own salt"


def test_a_hash_of_another_cost_is_made_anew_at_the_next_sign_in(tmp_path: Path, clock: Clock) -> None:
    Door(tmp_path, clock=clock, cost=CHEAP).set_passphrase("all", PASS)
    dearer = Cost(memory_kib=16, passes=2, lanes=1)
    door = Door(tmp_path, clock=clock, cost=dearer)
    before = door.store.read().passphrases["all"].hash
    assert guess(door) == "passphrase_wrong"
    assert door.store.read().passphrases["all"].hash == before
    assert guess(door, PASS) == "in"
    after = door.store.read().passphrases["all"].hash
    found = extract_parameters(after)
    assert (found.memory_cost, found.time_cost) == (16, 2)
    assert guess(door, PASS) == "in" and door.store.read().passphrases["all"].hash == after


def test_the_file_is_the_owners_alone_and_holds_nothing_that_opens(door: Door, tmp_path: Path) -> None:
    token = door.sign_in(PASS, client=PHONE).token
    file = tmp_path / NAME
    assert stat.S_IMODE(file.stat().st_mode) == 0o600 and not door.store.exposed()
    text = file.read_text()
    assert PASS not in text and token not in text
    file.chmod(0o644)
    assert door.store.exposed()
    door.sign_out(token)
    assert not door.store.exposed(), "every change puts the mode right"


def test_it_is_no_part_of_the_journal_nor_of_what_leaves_it(door: Door, tmp_path: Path) -> None:
    entered = door.sign_in(PASS, client=PHONE, name="Bench phone")
    with Journal.open(tmp_path / "saltfare.db") as journal:
        out = "\n".join(exchange.lines(journal))
        assert journal.head() == 0
    kept = door.store.read().passphrases["all"].hash
    data = (tmp_path / "saltfare.db").read_bytes().decode("latin-1") + out
    assert all(secret not in data for secret in (PASS, kept, entered.token, entered.session.hash))


def test_a_write_cut_short_leaves_the_old_file(
    door: Door, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = (tmp_path / NAME).read_bytes()
    for step in ("fsync", "replace"):
        with monkeypatch.context() as patched:

            def fail(*_: object, **__: object) -> None:
                raise OSError(28, "No space left on device")

            if step == "fsync":
                patched.setattr(os, "fsync", fail)
            else:
                patched.setattr(Path, "replace", fail)
            with pytest.raises(DoorBroken) as error:
                door.set_passphrase("look", LESS)
            assert error.value.problem.params["reason"] == "No space left on device"
        assert (tmp_path / NAME).read_bytes() == before
        assert sorted(p.name for p in tmp_path.iterdir()) == [NAME, f"{NAME}.lock"]


@pytest.mark.parametrize(
    "text", ["", "{", "null", '{"version": 2}', '{"version": 1, "more": 1}', "\x00" * 40]
)
def test_a_file_that_cannot_be_read_lets_nobody_in(door: Door, tmp_path: Path, text: str) -> None:
    token = door.sign_in(PASS, client=PHONE).token
    (tmp_path / NAME).write_text(text)
    for ask in (lambda: door.admit(token), lambda: door.sign_in(PASS, client=PHONE), door.opened_by):
        with pytest.raises(DoorBroken):
            ask()
    assert (tmp_path / NAME).read_text() == text, "what was there is not written over"


def test_two_processes_lose_none_of_each_others_changes(tmp_path: Path, clock: Clock) -> None:
    one, two = (Door(tmp_path, clock=clock, cost=CHEAP) for _ in range(2))
    one.set_passphrase("all", PASS)

    def enter(door: Door, client: str) -> None:
        for _ in range(8):
            door.sign_in(PASS, client=client)

    threads = [threading.Thread(target=enter, args=pair) for pair in ((one, PHONE), (two, OTHER))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(one.devices()) == len(two.devices()) == 16


# sessions


def test_the_secret_is_256_random_bits_kept_hashed_and_new_each_time(door: Door) -> None:
    tokens = {door.sign_in(PASS, client=PHONE).token for _ in range(5)}
    assert len(tokens) == 5
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{43}", token) for token in tokens)  # 43 × 6 bits >= 256
    drawn: list[int] = []

    def entropy(count: int) -> bytes:
        drawn.append(count)
        return os.urandom(count)

    Door(door.store.path.parent, clock=lambda: START, cost=CHEAP, entropy=entropy).sign_in(PASS, client=PHONE)
    assert drawn[0] == 32


def test_what_a_device_held_before_is_void_after(door: Door) -> None:
    first = door.sign_in(PASS, client=PHONE).token
    second = door.sign_in(PASS, client=PHONE, before=first).token
    assert door.admit(first) is None and door.admit(second) is not None
    chosen = "x" * 43  # a secret put there by somebody else
    third = door.sign_in(PASS, client=PHONE, before=chosen).token
    assert third != chosen and door.admit(chosen) is None
    assert door.admit("") is None


def test_a_session_ends_when_idle_and_in_any_case(door: Door, clock: Clock) -> None:
    token = door.sign_in(PASS, client=PHONE).token
    clock.on(seconds=IDLE.total_seconds() - 1)
    assert door.admit(token) is not None, "used once in seven days it goes on"
    clock.on(seconds=IDLE.total_seconds() - 1)
    assert door.admit(token) is not None
    clock.on(seconds=IDLE.total_seconds())
    assert door.admit(token) is None and door.devices() == ()
    token = door.sign_in(PASS, client=PHONE).token
    began = clock.at
    while clock.at - began < ABSOLUTE - timedelta(days=1):
        clock.on(days=1)
        assert door.admit(token) is not None
    clock.on(days=1)
    assert door.admit(token) is None, "thirty days after, used or not"


def test_sessions_outlive_a_restart_and_end_with_their_passphrase(
    door: Door, clock: Clock, tmp_path: Path
) -> None:
    door.set_passphrase("look", LESS)
    one, two = door.sign_in(PASS, client=PHONE).token, door.sign_in(LESS, client=OTHER).token
    again = Door(tmp_path, clock=clock, cost=CHEAP)
    assert again.admit(one) is not None and again.admit(two) is not None
    Door(tmp_path, clock=clock, cost=CHEAP).set_passphrase("all", PASS + " anew")
    assert again.admit(one) is None and again.admit(two) is not None
    Door(tmp_path, clock=clock, cost=CHEAP).remove_passphrase("look")
    assert again.admit(two) is None
    assert guess(again, LESS) == guess(again, PASS) == "passphrase_wrong"
    with pytest.raises(NotFound):
        again.remove_passphrase("look")


def test_devices_are_listed_and_signed_out(door: Door, clock: Clock) -> None:
    one = door.sign_in(PASS, client=PHONE, name="  Bench \n phone ", agent="A" * 500)
    clock.on(minutes=1)
    two = door.sign_in(PASS, client=OTHER)
    three = door.sign_in(PASS, client=OTHER)
    assert [s.client for s in door.devices()] == [OTHER, OTHER, PHONE]
    assert one.session.name == "Bench phone" and len(one.session.agent) <= 160
    door.revoke(one.session.key)
    assert door.admit(one.token) is None and door.admit(two.token) is not None
    with pytest.raises(NotFound):
        door.revoke(one.session.key)
    door.revoke_others(two.session.key)
    assert door.admit(two.token) is not None and door.admit(three.token) is None
    door.sign_out(two.token)
    assert door.devices() == () and door.admit(two.token) is None


def test_a_device_may_be_let_do_less_than_its_passphrase_and_never_more(door: Door) -> None:
    door.set_passphrase("record", LESS)
    assert door.sign_in(PASS, client=PHONE, role="look").session.role == "look"
    assert door.sign_in(LESS, client=PHONE, role="all").session.role == "record"
    with pytest.raises(Refused) as error:
        door.set_passphrase("look", LESS)
    assert code(error) == "passphrase_of_another"


def test_old_sessions_make_room(door: Door, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeper, "MOST_SESSIONS", 4)
    first = door.sign_in(PASS, client=PHONE).token
    for _ in range(4):
        clock.on(seconds=1)
        door.sign_in(PASS, client=PHONE)
    assert len(door.devices()) == 4 and door.admit(first) is None


# the throttle


def test_the_waits_grow_by_a_schedule() -> None:
    assert [throttle.delay_each_s(n) for n in range(15)] == [
        *(0.0, 0.0, 0.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 900.0, 900.0, 900.0)
    ]
    assert [throttle.delay_all_s(n) for n in (0, 9, 10, 11, 15, 16, 99)] == [0, 0, 1, 2, 32, 60, 60]
    assert throttle.delay_each_s(10**6) == 900.0
    assert throttle.LOCK_AFTER <= 100  # NIST SP 800-63B-4, 3.2.2


def test_one_device_waits_and_the_wait_outlives_a_restart(door: Door, clock: Clock, tmp_path: Path) -> None:
    assert [guess(door) for _ in range(4)] == ["passphrase_wrong"] * 3 + ["sign_in_waits"]
    assert guess(door, PASS) == "sign_in_waits", "the right one is not looked at either"
    assert guess(door, PASS, OTHER) == "in", "another device does not wait"
    again = Door(tmp_path, clock=clock, cost=CHEAP)
    assert guess(again) == "sign_in_waits"
    clock.on(seconds=1.9)
    assert guess(again) == "sign_in_waits"
    clock.on(seconds=0.1)
    assert guess(again) == "passphrase_wrong"
    clock.on(seconds=3.9)
    with pytest.raises(Refused) as error:
        again.sign_in(PASS, client=PHONE)
    assert error.value.problems[0].params["wait_s"] == pytest.approx(0.1)
    clock.on(seconds=0.2)
    assert guess(again, PASS) == "in"
    assert guess(again) == "passphrase_wrong", "forgiven, it begins anew"


def test_a_clock_set_back_never_makes_a_wait_longer(door: Door, clock: Clock) -> None:
    for _ in range(3):
        guess(door)
    clock.on(days=-400)
    with pytest.raises(Refused) as error:
        door.sign_in(PASS, client=PHONE)
    assert error.value.problems[0].params["wait_s"] == 2.0


def test_all_devices_together_wait_too(door: Door, clock: Clock) -> None:
    clients = [f"192.168.1.{n}" for n in range(10, 30)]
    assert [guess(door, client=c) for c in clients[:11]] == ["passphrase_wrong"] * 10 + ["sign_in_waits"]
    clock.on(seconds=1)
    assert guess(door, client=clients[11]) == "passphrase_wrong"
    clock.on(seconds=1)
    assert guess(door, client=clients[12]) == "sign_in_waits"


def test_addresses_of_one_network_count_as_one_device() -> None:
    assert client_key("fd00::1") == client_key("fd00::ffff:1:2:3") == "fd00::/64"
    assert client_key("fd00:0:0:1::1") != client_key("fd00::1")
    assert client_key("::ffff:192.168.1.7") == client_key("192.168.1.7")
    assert client_key(None) == client_key("x") == "unknown"


def to_the_lock(door: Door, clock: Clock, *, already: int = 0) -> int:
    """Guess until it is locked; the guesses it took."""
    if already:
        failures = Failures(count=already, last=clock.at)
        door.store.change(lambda held: held.model_copy(update={"failures": failures}))
    taken = already
    while True:
        clock.on(hours=1)
        found = guess(door)
        if found == "sign_in_locked":
            return taken
        assert found == "passphrase_wrong"
        taken += 1


def test_after_a_hundred_it_is_locked_until_the_console_says_so(
    door: Door, clock: Clock, tmp_path: Path
) -> None:
    inside = door.sign_in(PASS, client=OTHER).token
    assert to_the_lock(door, clock) == 100
    assert door.locked
    clock.on(days=2)
    again = Door(tmp_path, clock=clock, cost=CHEAP)
    assert guess(again, PASS) == guess(again, PASS, OTHER) == "sign_in_locked"
    assert again.admit(inside) is not None, "who is in stays in"
    assert Door(tmp_path, clock=clock, cost=CHEAP).unlock() == 100
    assert not again.locked and guess(again, PASS) == "in"


def test_a_passphrase_for_less_does_not_forgive_guesses_at_the_one_for_all(door: Door, clock: Clock) -> None:
    door.set_passphrase("look", LESS)
    door.store.change(lambda held: held.model_copy(update={"failures": Failures(count=93, last=clock.at)}))
    for left in range(6, -1, -1):
        clock.on(hours=1)
        assert guess(door) == "passphrase_wrong"
        clock.on(hours=1)
        assert guess(door, LESS) == ("in" if left else "sign_in_locked")
    assert guess(door, PASS, OTHER) == "sign_in_locked"


def test_attempts_at_once_are_counted_before_they_are_looked_at(door: Door) -> None:
    found: list[str] = []
    begin = threading.Barrier(12)

    def attempt() -> None:
        begin.wait()
        found.append(guess(door))

    threads = [threading.Thread(target=attempt) for _ in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(found) == ["passphrase_wrong"] * 3 + ["sign_in_waits"] * 9


def test_a_process_killed_while_it_compares_has_counted(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    def die(*_: object) -> bool:
        raise KeyboardInterrupt

    monkeypatch.setattr(Hasher, "matches", die)
    with pytest.raises(KeyboardInterrupt):
        door.sign_in(PASS, client=PHONE)
    assert door.store.read().failures.count == 1


# what an answer tells

WRONG = [
    "",
    "x",
    PASS[:-1],
    PASS + " ",
    PASS.upper(),
    "z" * len(PASS),
    "z" * 4000,
    "\ud800 half a pair",
    "塩" * 30,
]


@pytest.mark.parametrize("text", WRONG)
def test_every_wrong_passphrase_is_compared_with_each_and_told_alike(
    door: Door, monkeypatch: pytest.MonkeyPatch, text: str
) -> None:
    door.set_passphrase("look", LESS)
    compared: list[str] = []
    real = Hasher.matches

    def matches(self: Hasher, kept: str, given: str) -> bool:
        compared.append(kept)
        return real(self, kept, given)

    monkeypatch.setattr(Hasher, "matches", matches)
    with pytest.raises(Refused) as error:
        door.sign_in(text, client=PHONE)
    problem = error.value.problems[0]
    assert (problem.code, problem.given, dict(problem.params)) == ("passphrase_wrong", "", {})
    assert len(set(compared)) == 2


def test_the_time_of_an_answer_does_not_tell_how_near_it_was(tmp_path: Path) -> None:
    door = Door(tmp_path, cost=Cost(memory_kib=4096, passes=1, lanes=1))
    door.set_passphrase("all", PASS)
    door.set_passphrase("look", LESS)
    spent: dict[str, list[float]] = {text: [] for text in (PASS[:-1] + "x", "x", LESS, PASS)}
    for _ in range(25):
        for text, times in spent.items():
            began = time.thread_time()  # of this thread alone: others on the machine do not count
            door._opens(text)
            times.append(time.thread_time() - began)
    medians = [statistics.median(times) for times in spent.values()]
    assert max(medians) / min(medians) < 1.5, medians


def test_the_log_names_no_secret(door: Door, clock: Clock, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    token = door.sign_in(PASS, client=PHONE).token
    to_the_lock(door, clock, already=97)
    text = caplog.text + json.dumps([str(r.args) for r in caplog.records])
    assert "locked after 100" in text and PHONE in text
    for secret in (PASS, "not the passphrase", token, "argon2"):
        assert secret not in text


def test_errors_of_the_file_quote_nothing_of_it(door: Door, tmp_path: Path) -> None:
    text = (tmp_path / NAME).read_text().replace('"version": 1', '"version": 7')
    (tmp_path / NAME).write_text(text)
    with pytest.raises(DoorBroken) as error:
        Store(tmp_path / NAME).read()
    assert error.value.__cause__ is None and error.value.__suppress_context__
    assert "argon2" not in str(error.value) + str(error.value.problem)
    assert str(tmp_path) not in str(error.value.problem)
