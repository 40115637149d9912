"""The demo: an invented household, replayed through the actions, dated back from the day it is opened.

It lives in a file of its own, named by that day, and never touches the person's journal.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from hashlib import sha256
from importlib.resources import files
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from saltfare.actions.context import Context, Settings
from saltfare.actions.registry import run
from saltfare.core.library import Library
from saltfare.jobs import Cache
from saltfare.journal.store import Journal

_STEP = timedelta(minutes=1)


def demo_journal(where: Path, now: datetime, *, zone: str) -> Path:
    """The demo's file for the day of `now`, made where it is not there yet; those of other days go."""
    day = now.astimezone(ZoneInfo(zone)).date()
    path = where / f"demo-{day.isoformat()}-{_version()}.db"
    if not path.exists():
        for old in where.glob("demo-*.db*"):
            old.unlink()
        part = path.with_suffix(".part")
        part.unlink(missing_ok=True)
        with Journal.open(part, entropy=_Chance("journal")) as journal:
            _replay(journal, Cache(where / "cache"), day, now, zone)
        part.replace(path)
    return path


def _household() -> dict[str, Any]:
    """The household's file, and the acts of every other file beside it."""
    texts = _texts()
    household = tomllib.loads(texts.pop("household.toml").decode())
    household["act"] = [act for text in texts.values() for act in tomllib.loads(text.decode()).get("act", ())]
    return household


def _texts() -> dict[str, bytes]:
    folder = files("saltfare.data") / "demo"
    return {
        one.name: one.read_bytes()
        for one in sorted(folder.iterdir(), key=lambda one: one.name)
        if one.name.endswith(".toml")
    }


def _version() -> str:
    """Changes with the household, so that a newer program shows the newer demo."""
    return sha256(b"".join(_texts().values())).hexdigest()[:8]


class _Chance:
    """Bytes that look random and are the same each time, so that the demo's codes are."""

    def __init__(self, seed: str) -> None:
        self._state = seed.encode()

    def __call__(self, count: int) -> bytes:
        out = b""
        while len(out) < count:
            self._state = sha256(self._state).digest()
            out += self._state
        return out[:count]


def _replay(journal: Journal, cache: Cache, day: date, now: datetime, zone: str) -> None:
    """Everything the household did, in order of time, each with the clock of its moment."""
    library, chance = Library(), _Chance("codes")
    known: dict[str, str] = {}
    last: dict[str, str] = {}
    done = [act for act in sorted(_acts(_household(), day, zone), key=lambda act: act.at) if act.at <= now]
    kept = _with_forecasts(done)
    for number, act in enumerate(done):
        context = Context(
            journal=journal,
            cache=cache,
            library=library,
            now=act.at,
            entropy=chance,
            settings=Settings(zone=zone),
            actor="demo",
            demo=True,
            forecasts=number in kept,
        )
        made = run(act.name, context, _given(act, known, last)).model_dump()
        if act.key and "code" in made:
            known.setdefault(act.key, str(made["code"]))
        known |= dict(zip(act.names, made.get("codes", ()), strict=False))
        if act.key:
            last[act.key] = str(made["events"][0])


def _given(act: Act, known: Mapping[str, str], last: Mapping[str, str]) -> dict[str, Any]:
    """The input of an act, with the codes that the keys of its pieces stand for by then."""
    if act.name == "correct":
        return {**act.given, "event_id": last[act.key]}
    if act.name == "tie_pieces":
        return {**act.given, "codes": [known[key] for key in act.of]}
    given = _named(act.given, known, last)
    return {**given, "code": known[act.key]} if act.to_piece and act.key in known else given


def _named(given: Any, known: Mapping[str, str], last: Mapping[str, str]) -> Any:
    """The input with the code in place of every `@key`, and the first event of its last act for `!key`."""
    if isinstance(given, dict):
        return {_named(k, known, last): _named(v, known, last) for k, v in given.items()}
    if isinstance(given, list):
        return [_named(one, known, last) for one in given]
    if isinstance(given, str) and given[:1] in ("@", "!") and len(given) > 1:
        return (known if given[0] == "@" else last)[given[1:]]
    return given


def _with_forecasts(acts: Sequence[Act]) -> set[int]:
    """Which acts keep the forecast that follows: the last of each piece under way, and those marked. A
    forecast costs as much as everything else of a piece together, and nobody looks at the old ones."""
    ended = {act.key for act in acts if act.name in ("take_down", "discard_piece", "cut_piece")}
    ended |= {key for act in acts for key in act.of}
    last = {act.key: number for number, act in enumerate(acts) if act.name in _FORECASTING}
    marked = {number for number, act in enumerate(acts) if act.keep_forecast}
    return marked | {number for key, number in last.items() if key not in ended}


@dataclass(frozen=True, slots=True)
class Act:
    """One thing the household did. key: of the piece it was done to; names: of what came of it, by key."""

    at: datetime
    name: str
    key: str
    given: dict[str, Any]
    names: tuple[str, ...] = ()
    of: tuple[str, ...] = ()
    keep_forecast: bool = False
    to_piece: bool = True


_FORECASTING = frozenset({"hang_piece", "weigh_in", "end_rest", "taste_piece"})
_OURS = frozenset(
    {"do", "day", "clock", "key", "on", "as", "of", "keep_forecast", "dates", "instants", "given"}
)


def _acts(household: Mapping[str, Any], day: date, zone: str) -> Iterator[Act]:
    def instant(days: int, clock: str) -> datetime:
        return datetime.combine(day - timedelta(days=days), time.fromisoformat(clock), ZoneInfo(zone))

    for chamber in household["chamber"]:
        rest = {k: v for k, v in chamber.items() if k not in ("day", "clock")}
        yield Act(instant(chamber["day"], chamber["clock"]), "describe_chamber", "", rest)
    for air in household["air"]:
        yield from _readings(air, day, instant)
    for act in household["act"]:
        given: dict[str, Any] = {k: v for k, v in act.items() if k not in _OURS}
        given |= act.get("given", {})  # fields named as ours are: the day of a pin, the warmest of a day
        # civil dates and instants are told in days back from the day (ahead of it: negative)
        dates = act.get("dates", {}).items()
        given |= {name: (day - timedelta(days=back)).isoformat() for name, back in dates}
        instants = act.get("instants", {}).items()
        given |= {name: instant(back, clock).isoformat() for name, (back, clock) in instants}
        at = instant(act["day"], act["clock"])
        yield Act(at, act["do"], act.get("key", ""), given, tuple(act.get("as", ())), to_piece=False)
    for piece in household["piece"]:
        begun = instant(piece["day"], piece["clock"])
        yield Act(begun, "start_piece", piece["key"], {**piece["plan"], "name": piece["name"]})
        for number, act in enumerate(piece["act"], 1):
            yield Act(
                # acts of one day follow each other by a minute, in the order they are written
                instant(act["day"], piece["clock"]) + number * _STEP,
                act["do"],
                act.get("on", piece["key"]),
                {k: v for k, v in act.items() if k not in _OURS},
                tuple(act.get("as", ())),
                tuple(act.get("of", ())),
                act.get("keep_forecast", False),
            )


def _readings(air: Mapping[str, Any], day: date, instant: Any) -> Iterator[Act]:
    """One import a day of a logger's readings: a daily swing on a slow drift, with a gap."""
    swing, slow = 2 * math.pi / 24, 2 * math.pi / (24 * 7)
    gap_from, gap_to = air.get("gap_h", (-1, 0))
    for back in range(air["days"], -1, -1):
        rows = []
        for hour in range(0, 24, air["every_h"]):
            at = instant(back, f"{hour:02d}:00")
            before_h = back * 24 - hour
            if gap_to <= before_h <= gap_from:
                continue
            temp = air["temperature_c"] + air["swing_c"] * math.sin(swing * (hour - 9))
            temp += air["drift_c"] * math.sin(slow * before_h)
            humid = air["humidity_pct"] + air["swing_pct"] * math.sin(swing * (hour + 3))
            humid += air["drift_pct"] * math.sin(1.3 * slow * before_h)
            if back == 0 and hour > 0:  # told up to the day it is opened, whatever the hour
                continue
            rows.append({"at": at.isoformat(), "temperature": f"{temp:.1f} C", "humidity": f"{humid:.1f} %"})
        if rows:
            given = {"key": air["chamber"], "rows": rows, "origin": "logger (invented)"}
            yield Act(datetime.fromisoformat(rows[-1]["at"]), "read_air", "", given)
