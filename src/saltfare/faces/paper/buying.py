"""The buying card in words: the same on its page and on paper."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from saltfare.faces.paper.press import printed
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from datetime import datetime

    from saltfare.actions.buying import BuyingShown, ThicknessShown


def buying_pdf(words: Words, shown: BuyingShown, cut: str, purpose: str, at: datetime) -> bytes:
    """The card as a PDF."""
    return printed("buying", {**card(words, shown, cut, purpose), "footer": words.t("buying.footer", at=at)})


def card(words: Words, shown: BuyingShown, cut: str, purpose: str) -> dict[str, Any]:
    """The card as page and layout take it."""
    said = words.t
    packs, pack = shown.packs, words.shown.quantity(shown.pack_kg, "mass")
    return {
        "title": said("buying.title"),
        "what": said("buying.what", packs=packs, pack=pack, cut=cut),
        "purpose": purpose,
        "aim": {
            "label": said("buying.buy"),
            "figure": words.value(shown.buy),
            "more": words.interval(shown.buy),
        },
        "enough": said("buying.enough", mass=_up(words, shown.enough_kg), packs=packs),
        "lines": _lines(words, shown),
        "offered": None
        if shown.offered is None
        else said(
            "buying.offered",
            mass=words.shown.quantity(shown.offered.bought_kg, "mass"),
            packs=shown.offered.packs,
            low=shown.offered.packs_low,
            high=shown.offered.packs_high,
        ),
        "dates": [_dated(words, shown, one) for one in shown.thicknesses],
        "dates_title": said("buying.dates", on=shown.today),
        "dates_text": _dates_text(words, shown),
        "notes": [words.note(note) for note in shown.notes],
        "law": said("buying.law"),
    }


def _up(words: Words, mass_kg: float) -> str:
    """A mass to ask for, never rounded below what is needed."""
    return words.shown.quantity(math.ceil(100.0 * mass_kg) / 100.0, "mass", half_width=0.02 * mass_kg)


def _lines(words: Words, shown: BuyingShown) -> list[dict[str, str]]:
    out = []
    for share in shown.shares:
        label = words.name(share.quantity)
        out.append(
            {
                "label": label[:1].upper() + label[1:],
                "figure": words.value(share.figure),
                "more": words.t("buying.told") if share.told else words.interval(share.figure),
                "trace": share.figure.trace,
            }
        )
    finished = words.shown.quantity(shown.finished_kg, "mass")
    out.append({"label": words.t("buying.finished"), "figure": finished, "more": "", "trace": ""})
    return out


def _dated(words: Words, shown: BuyingShown, one: ThicknessShown) -> dict[str, str]:
    """A thickness as a line of the slip: how thick, not before which day, and what else is known of it."""
    metric = words.shown.measures == "metric"
    more = [
        words.t("buying.likely", on=one.likely) if one.likely else words.t("buying.likely_beyond"),
        words.t("buying.in_salt", time_s=one.salt_days * 86400.0),
    ]
    if one.by_wanted_frac is not None and shown.wanted_on is not None:
        more.insert(0, words.t("buying.by", on=shown.wanted_on, chance=_chance(words, one.by_wanted_frac)))
    return {
        "label": words.shown.quantity(one.thickness_m, "length:mm" if metric else "length"),
        "figure": words.t("buying.early", on=one.early) if one.early else words.t("piece.beyond"),
        "more": "; ".join(more),
    }


def _chance(words: Words, share: float) -> str:
    if share < 0.01:
        return words.t("piece.chance_low")
    return words.t("piece.chance_high") if share > 0.99 else words.t("piece.chance", n=round(100 * share))


def _dates_text(words: Words, shown: BuyingShown) -> str:
    if (
        not shown.thicknesses
        or shown.salt_frac is None
        or shown.air_temp_c is None
        or shown.air_rh_frac is None
    ):
        return ""
    return words.t(
        f"buying.dates_text_{shown.shape}",
        salt_frac=shown.salt_frac,
        salting_c=shown.salting_c,
        temp_c=shown.air_temp_c,
        rh_frac=shown.air_rh_frac,
    )
