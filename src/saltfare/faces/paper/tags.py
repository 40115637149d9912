"""Tags in words: what each says, in the sizes they are printed in."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Literal

from saltfare.core.glossary import entry
from saltfare.faces.paper.press import printed, qr
from saltfare.faces.units_shown import SPACE
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.tags import TagShown, TagsShown

Size = Literal["sheet", "card", "roll"]
SIZES: tuple[Size, ...] = ("sheet", "card", "roll")
_MOST_BLANKS = 12
_LINES_OF_AMOUNTS = 3
_FIRST = ("cure_mix_dose", "salt_dose", "sugar_dose")


def tags_pdf(words: Words, shown: TagsShown, size: Size, cut_of: dict[str, str]) -> bytes:
    """All tags as a PDF. cut_of: what each cut is called."""
    return printed(
        "tags",
        {
            "title": words.t("paper.tags"),
            "size": size,
            "tags": [tag(words, one, shown.address, cut_of.get(one.cut, one.cut)) for one in shown.tags],
        },
    )


def address_of(address: str, code: str) -> str:
    """What a tag's QR holds: in capitals, so that it takes the smaller alphanumeric mode."""
    return f"{address}/L/{code}".upper()


def tag(words: Words, one: TagShown, address: str, cut: str) -> dict[str, Any]:
    """One tag as the layout takes it."""
    shown = words.shown
    return {
        "what": words.t(f"paper.kind.{one.kind}", cut=cut),
        "name": one.name,
        "code": one.code,
        "qr": qr(address_of(address, one.code)),
        "lines": _lines(words, one),
        "aim": None
        if one.target_kg is None
        else {
            "label": words.t("paper.aim_planned" if "target_kg" in one.planned else "paper.aim"),
            "figure": shown.quantity(one.target_kg, "mass"),
            "more": words.t("paper.aim_with_tare", mass_kg=one.target_kg + one.tare_kg)
            if one.tare_kg and one.kind == "hanging"
            else "",
        },
        "blanks": _blanks(words, one),
        "least_blanks": 2,
        "cautions": _cautions(words, one),
    }


def _lines(words: Words, one: TagShown) -> list[dict[str, str]]:
    shown, out = words.shown, []

    def line(key: str, figure: str) -> None:
        out.append({"label": words.t(f"paper.line.{key}"), "figure": figure})

    def day(name: Literal["salt_on", "second_on", "wash_on", "hang_on"]) -> None:
        on: date | None = getattr(one, name)
        if on is not None:
            said = shown.on(on, weekday=True)
            line(name, words.t("paper.planned", what=said) if name in one.planned else said)

    line("green", shown.quantity(one.green_kg, "mass"))
    if one.kind == "hanging":
        if one.hung_kg is not None:
            line("hung", shown.quantity(one.hung_kg, "mass"))
        day("hang_on")
        if one.target_loss_frac is not None:
            line("loss", shown.quantity(one.target_loss_frac, "fraction"))
        day("salt_on")
    elif one.kind == "second_half":
        day("second_on")
        day("wash_on")
    else:
        day("salt_on")
        day("wash_on")
    if one.mix is not None:
        line("mix", one.mix.name)
        line("strength", _strength(words, one))
    if one.kind != "hanging":
        _amounts(words, one, out)
    if one.chamber:
        line("chamber", one.chamber)
    if one.tare_kg and one.kind == "hanging":
        line("tare", shown.quantity(one.tare_kg, "mass"))
    return out


def _strength(words: Words, one: TagShown) -> str:
    mix = one.mix
    if mix is None:
        raise ValueError("no mix to tell the strength of")
    told = []
    if mix.nitrite_frac is not None:
        told.append(words.t("paper.nitrite", share=_as_printed(words, mix.nitrite_frac)))
    if mix.nitrate_frac:
        told.append(words.t("paper.nitrate", share=_as_printed(words, mix.nitrate_frac)))
    return ", ".join(told) or words.t("figure.unknown")


def _as_printed(words: Words, share: float) -> str:
    """A strength with every digit its label has: 6.25 % is not 6.2 %."""
    return f"{words.shown.number(100 * share, 4)}{SPACE}{words.shown.label('%')}"


def _amounts(words: Words, one: TagShown, out: list[dict[str, str]]) -> None:
    """What is weighed in: the first few on lines of their own, what is left in one line."""
    told = []
    for amount in sorted(one.amounts, key=lambda a: a.quantity not in _FIRST):
        kind = entry(amount.quantity).kind
        if kind != "mass":
            continue
        own = f"paper.amount.{amount.quantity}"
        label = amount.name or (words.t(own) if words.has(f"page.{own}") else words.name(amount.quantity))
        told.append((label[:1].upper() + label[1:], words.shown.quantity(amount.value, kind)))
    for label, figure in told[:_LINES_OF_AMOUNTS]:
        said = words.t("paper.planned", what=figure) if "amounts" in one.planned else figure
        out.append({"label": label, "figure": said})
    if told[_LINES_OF_AMOUNTS:]:
        rest = ", ".join(f"{label} {figure}" for label, figure in told[_LINES_OF_AMOUNTS:])
        out.append({"label": words.t("paper.line.also"), "figure": rest})


def _blanks(words: Words, one: TagShown) -> list[dict[str, str]]:
    """What is written by hand where the pages are not at hand."""
    unit = words.shown.label(words.shown.unit_for("mass", one.green_kg))
    if one.kind == "second_half":
        return [
            {"label": words.t("paper.blank.rubbed"), "unit": ""},
            {"label": words.t("paper.blank.drained"), "unit": words.shown.label("g")},
        ]
    if one.kind == "curing":
        keys = ("washed_on", "washed", "hung_on", "hung")
        return [
            {"label": words.t(f"paper.blank.{key}"), "unit": "" if key.endswith("_on") else unit}
            for key in keys
        ]
    days = [words.shown.on(on) for on in one.weigh_on[: _MOST_BLANKS // 2]]
    out = [] if one.hung_kg is not None else [{"label": words.t("paper.blank.hung"), "unit": unit}]
    out += [{"label": words.t("paper.blank.weigh_on", on=on), "unit": unit} for on in days]
    out += [{"label": words.t("paper.blank.weigh"), "unit": unit}] * (_MOST_BLANKS - len(out))
    return out


def _cautions(words: Words, one: TagShown) -> list[str]:
    keys = []
    given = {"cold_c": one.cold_c, "salting_c": one.salting_c}
    if one.kind != "hanging":
        keys.append("in_the_cold")
        if one.mix is not None:
            keys.append("holds_nitrite")
    else:
        keys.append("mass_ends_it")
        if not one.intact:
            keys.append("not_intact")
    keys += ["raw", "law"]
    return [words.t(f"paper.caution.{key}", **given) for key in keys]


def stamped(at: datetime, words: Words) -> str:
    """When a sheet was printed."""
    return words.t("paper.printed", at=at)
