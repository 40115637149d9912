"""Pieces and lots put straight into a journal, and logs to judge them by. All of it is invented."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

from households import BEGAN, House

from saltfare.core.fields import Measured
from saltfare.journal import events_handling as handling
from saltfare.journal import events_lot as lots
from saltfare.journal import events_piece as kinds
from saltfare.journal.codes import code_of
from saltfare.journal.events import Body


def measured(typed: str, value: float) -> Measured:
    return Measured(typed=typed, value=value)


def on(day: float) -> datetime:
    return BEGAN + timedelta(days=day)


class Larder(House):
    """A household whose pieces begin where a test wants them, no forecast made on the way."""

    made = 0

    def put(self, stream: str, body: Body, day: float) -> str:
        event = self.journal.append(
            stream, body, at=on(day), zone="UTC", actor="household", recorded_at=on(day)
        )
        return event.id

    def code(self) -> str:
        self.made += 1
        return code_of(4000 + self.made)

    def piece(
        self, cut: str, *, name: str = "", chamber: str | None = "cupboard", mix: str = "jar", kg: float = 2.0
    ) -> str:
        code = self.code()
        salting = kinds.SaltingChoice(
            rules="us_home",
            salt=measured("2.8 %", 0.028),
            mix=kinds.CureMix(name=mix, nitrite=measured("6.25 %", 0.0625)) if mix else None,
            scale_step=measured("0.1 g", 1e-4),
            temperature=measured("4 C", 4.0),
        )
        body = kinds.Started(
            name=name or cut,
            purpose="home_cold",
            cut=cut,
            green_weight=measured(f"{kg} kg", kg),
            shape="cylinder",
            thickness=measured("80 mm", 0.08),
            length=measured("36 cm", 0.36),
            salting=salting,
            chamber=chamber,
            air=kinds.AirChoice(temperature=measured("12 C", 12.0), humidity=measured("75 %", 0.75)),
        )
        self.put(kinds.STREAM + code, body, 0)
        return code

    def salted(self, code: str, day: float = 0, *, mix_g: float | None = 4.8, salt_g: float = 52.0) -> None:
        mix = measured(f"{mix_g} g", mix_g / 1000) if mix_g else None
        salt = measured(f"{salt_g} g", salt_g / 1000)
        self.put(kinds.STREAM + code, kinds.Salted(salt=salt, mix=mix), day)

    def hang(self, code: str, day: float = 21, *, kg: float = 1.9, chamber: str | None = "cupboard") -> None:
        target = kinds.TargetChoice(by="usual_loss", mass=measured("1.2 kg", 1.2))
        self.put(kinds.STREAM + code, kinds.Hung(chamber=chamber, mass=measured("", kg), target=target), day)

    def weigh(self, code: str, day: float, kg: float) -> None:
        self.put(kinds.STREAM + code, kinds.Weighed(mass=measured("", kg)), day)

    def lot(
        self,
        *,
        piece: str | None = None,
        day: float = 60,
        sealed: lots.Sealed = "no_oxygen",
        place: str = "fridge",
        name: str = "lot",
    ) -> str:
        code = self.code()
        body = lots.LotMade(
            name=name,
            piece=piece,
            packs=4,
            mass=measured("250 g", 0.25),
            sealed=sealed,
            place=place,
            packed_on=date(2026, 3, 2) + timedelta(days=day),
        )
        self.put(lots.STREAM + code, body, day)
        if piece is not None:
            self.put(kinds.STREAM + piece, kinds.TakenDown(mass=measured("", 1.2), lots=(code,)), day)
        return code

    def smoked(self, code: str, day: float) -> None:
        body = handling.Smoked(how="hot", lasted=measured("4 h", 14400), temperature=measured("90 C", 90))
        self.put(kinds.STREAM + code, body, day)

    def card(self, code: str, day: float, **given: Any) -> dict[str, Any]:
        """The answers of a card, by question and by criterion."""
        shown = self.do("criteria_card", day, code=code, **given)
        out: dict[str, Any] = {card.question: card.answer.value for card in shown.cards}
        for card in shown.cards:
            for one in card.criteria:
                out[f"{card.question}:{one.verdict.criterion}"] = one.verdict.answer.value
        out["shown"] = shown
        return out


def readings(
    day: float, points: Sequence[tuple[float, float]], *, step_min: float = 10, unit: str = "C"
) -> list[dict[str, Any]]:
    """Readings on straight lines through (minutes, temperature), as typed."""
    out = []
    for (m0, t0), (m1, t1) in pairwise(points):
        count = max(1, round((m1 - m0) / step_min))
        for k in range(count):
            share = k / count
            at = on(day) + timedelta(minutes=m0 + share * (m1 - m0))
            out.append({"at": at.isoformat(), "temperature": f"{t0 + share * (t1 - t0):.2f} {unit}"})
    last, temp = points[-1]
    at = on(day) + timedelta(minutes=last)
    out.append({"at": at.isoformat(), "temperature": f"{temp:.2f} {unit}"})
    return out


COOKED = ((0, 4), (170, 76), (185, 76.5))
"""From the cold to 76 C in under three hours, a quarter of an hour there."""
COOLED_QUICKLY = ((0, 76), (20, 54), (80, 25), (260, 3.5))
"""54.4 to 26.7 C in an hour and a half, to 4.4 C within five hours: options 1 and 2 of the 1999 text."""
COOLED_SLOWLY = ((0, 85), (120, 55), (480, 30), (900, 6))
"""Six hours from 54 to 30 C: slower than any printed option."""
