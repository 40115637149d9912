"""How the parts of a plan or a piece are said on a page: labels, verdicts, steps."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from saltfare.core.figure import Verdict
from saltfare.core.glossary import entry
from saltfare.faces.units_shown import Shown
from saltfare.faces.web.forms import Form
from saltfare.faces.words import Words

if TYPE_CHECKING:
    from saltfare.actions.bench import AmountDue, DueShown
    from saltfare.actions.chamber_advice import EffectShown
    from saltfare.actions.piece_log import LogLine
    from saltfare.actions.piece_shapes import LimitShown, Line, StepShown
    from saltfare.actions.rub_day import SecondDue

# How the pages name the acts in addresses and words, by action.
ACT_NAMES = {
    "salt_piece": "salt",
    "turn_piece": "turn",
    "drain_piece": "drain",
    "wash_piece": "wash",
    "rest_piece": "rest",
    "end_rest": "end-rest",
    "hang_piece": "hang",
    "weigh_in": "weigh",
    "shape_piece": "shape",
    "inject_piece": "inject",
    "smoke_piece": "smoke",
    "taste_piece": "taste",
    "cut_piece": "cut",
    "tie_pieces": "tie",
    "change_tare": "tare",
    "look_at_piece": "look",
    "discard_piece": "discard",
    "take_down": "take-down",
    "note": "note",
    "correct": "correct",
}
_MASSES = ("mass", "before", "after", *(f"masses.{n}" for n in range(6)))
_AT_HAND = frozenset({"mass", "volume", "time", "temperature"})
_RECIPE = frozenset({"brine_strength"})
_SCALE_UNIT = re.compile(r"[^a-z]*(kg|g|lb|oz)")


def remembered(
    shown: Shown, weighed: str | None, tare_kg: float | None, step_kg: float | None
) -> dict[str, str]:
    """What need not be typed again of a piece: the unit it was last weighed in, hook and net, the scale."""
    unit = _SCALE_UNIT.match(weighed or "")
    out = {f"{name}_unit": unit[1] for name in _MASSES} if unit else {}
    for name, value in (("tare", tare_kg), ("scale_step", step_kg)):
        if value:
            out |= {name: shown.typed(value, "mass", "g"), f"{name}_unit": "g"}
    return out


def kept_for(act: str, own: Mapping[str, str]) -> dict[str, str]:
    """Of what is remembered, what an act's form starts with."""
    prefilled = {"weigh": ("tare", "scale_step"), "take-down": ("scale_step",)}.get(act, ())
    return {k: v for k, v in own.items() if k.removesuffix("_unit") in (*_MASSES, *prefilled)}


@dataclass(frozen=True, slots=True)
class VerdictSaid:
    """A verdict in words."""

    answer: str
    says: str
    edition: str
    settles: tuple[str, ...]
    instead: str
    cautions: str


def capital(text: str) -> str:
    """With a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def says(words: Words) -> dict[str, Callable[..., Any]]:
    """The functions a template says things with."""

    def asked(quantity: str) -> str:
        if words.has(f"page.asked.{quantity}"):
            return words.t(f"asked.{quantity}")
        label, basis = capital(words.name(quantity)), entry(quantity).basis
        return words.t("form.of_basis", label=label, basis=basis) if basis and basis not in label else label

    def line_label(line: Line) -> str:
        label = capital(words.name(line.quantity))
        return f"{label}: {line.name}" if line.name else label

    def limit_label(limit: LimitShown) -> str:
        return capital(words.t(f"plan.limit_of.{limit.basis}", agent=limit.agent))

    def limit_text(limit: LimitShown) -> str:
        return " ".join(
            (
                words.note(limit.note),
                words.t("plan.limit_from", jurisdiction=limit.jurisdiction, edition=limit.edition),
            )
        )

    def criterion(ref: str) -> str:
        return words.say(f"criterion.{ref.rpartition(':')[2]}.text")

    def verdict_said(verdict: Verdict) -> VerdictSaid:
        text = words.t(f"verdict.{verdict.answer.value}", criterion=criterion(verdict.criterion))
        return VerdictSaid(
            verdict.answer.value,
            text,
            words.t("verdict.edition", edition=verdict.edition) if verdict.edition else "",
            tuple(words.t("verdict.settles", what=words.note(n)) for n in verdict.settles)
            if verdict.answer.value == "cannot_tell"
            else (),
            words.t("verdict.instead", what=" ".join(words.note(n) for n in verdict.instead))
            if verdict.answer.value != "meets" and verdict.instead
            else "",
            " ".join(words.note(n, "caution") for n in verdict.cautions),
        )

    def amount_label(amount: AmountDue) -> str:
        label = capital(words.name(amount.quantity))
        return f"{label}: {amount.name}" if amount.name else label

    def amount_value(amount: AmountDue) -> str:
        kind = entry(amount.quantity).kind
        # parts per million by name: their glossary ranges are typed so
        small = amount.quantity.startswith(("nitrite_", "nitrate_"))
        return words.shown.quantity(amount.value, "fraction:ppm" if small else kind)

    def on_the_bench(amounts: Sequence[AmountDue]) -> list[AmountDue]:
        """Of the amounts of a step, what a scale, a clock or a thermometer shows. Estimates stay with the
        plan, where their bands are."""
        return [a for a in amounts if entry(a.quantity).kind in _AT_HAND or a.quantity in _RECIPE]

    def due_when(due: DueShown) -> str:
        on = words.shown.on(due.on, weekday=True)
        if due.days < 0:
            return words.t("bench.was_due", on=on, ago_s=-due.days * 86400.0)
        return on if due.days else ""

    def due_form(due: DueShown) -> Form:
        act = ACT_NAMES[due.act]
        own = remembered(words.shown, due.weighed, due.tare_kg, due.scale_step_kg)
        return Form(kept_for(act, own), prefix=f"{act}-{due.code}-")

    def second_form(second: SecondDue) -> Form:
        if not second.drained:
            return Form(prefix=f"drain-{second.code}-")
        told = {a.quantity: words.shown.typed(a.value, "mass", "g") for a in second.amounts if not a.name}
        typed = {"mix": told.get("cure_mix_dose", ""), "salt": told.get("salt_dose", "")}
        return Form(typed, prefix=f"salt-{second.code}-")

    def effect_said(one: EffectShown) -> str:
        given: dict[str, Any] = {"before": one.ready_before, "after": one.ready_after}
        given |= {"before_m": one.crust_before_m, "after_m": one.crust_after_m}
        if one.ready_after is None:
            return words.t("advice.open", **given)
        return words.t("advice.from_open" if one.ready_before is None else "advice.both", **given)

    def check_unit(unit: str) -> str:
        """A unit of core.units by its name; a factor to SI as a factor."""
        if unit == "1":
            return ""
        return f" × {unit}" if unit.replace(".", "").replace("e-", "").isdigit() else f" {unit}"

    def chance(share: float | None) -> str:
        if share is None:
            return words.t("figure.unknown")
        if share < 0.01:
            return words.t("piece.chance_low")
        return words.t("piece.chance_high") if share > 0.99 else words.t("piece.chance", n=round(100 * share))

    def told(kind: str, name: str, value: str, chambers: Mapping[str, str]) -> str:
        if name == "chamber":
            return chambers.get(value, value)
        group = kind if name == "how" else name
        if not words.has(f"page.told_as.{group}"):
            return value
        return ", ".join(words.t(f"told_as.{group}.{one}") for one in value.split(","))

    def log_text(line: LogLine, chambers: Mapping[str, str]) -> str:
        parts = (
            words.t(f"log.told.{name}", value=told(line.kind, name, value, chambers))
            for name, value in line.params.items()
        )
        return words.t(f"log.{line.kind}", told=", ".join(parts))

    def told_as(group: str, codes: Sequence[str]) -> list[tuple[str, str]]:
        return [(code, words.t(f"told_as.{group}.{code}")) for code in codes]

    def band_text(row: Mapping[str, Any], kind: str) -> str:
        low, high = words.shown.span(row["low_kg"], row["high_kg"], kind)
        return words.t("chart.span", low=low, high=high)

    def banded(row: Mapping[str, Any], kind: str) -> str:
        half = (row["high_kg"] - row["low_kg"]) / 2
        return words.shown.quantity(row["median_kg"], kind, half_width=half or None)

    def step_when(step: StepShown) -> str:
        if step.on is None:
            return words.t("plan.when_ready")
        first = words.shown.on(step.on, weekday=True)
        if step.until is None or step.until == step.on:
            return first
        return words.t("plan.until", first=first, last=words.shown.on(step.until, weekday=True))

    def steps_grouped(steps: Sequence[StepShown]) -> list[tuple[StepShown, str]]:
        """Steps that differ by their day only are said once, with their days."""
        out: list[tuple[StepShown, str]] = []
        for step in steps:
            if out and out[-1][0].model_copy(update={"on": step.on}) == step:
                out[-1] = (step, f"{out[-1][1]}, {step_when(step)}")
            else:
                out.append((step, step_when(step)))
        return out

    return {
        "steps_grouped": steps_grouped,
        "asked": asked,
        "amount_label": amount_label,
        "amount_value": amount_value,
        "chance": chance,
        "check_unit": check_unit,
        "due_when": due_when,
        "log_text": log_text,
        "band_text": band_text,
        "banded": banded,
        "limit_value": lambda limit: words.shown.quantity(limit.limit.value, "fraction:ppm"),
        "on_the_bench": on_the_bench,
        "act_name": ACT_NAMES.__getitem__,
        "due_form": due_form,
        # as a scale shows it: the plan has rounded it to its step
        "on_scale": lambda figure: words.shown.quantity(figure.value, figure.kind),
        "second_form": second_form,
        "effect_said": effect_said,
        "told_as": told_as,
        "said_as": lambda path, codes: [(code, words.t(f"{path}.{code}")) for code in codes],
        "line_label": line_label,
        "limit_label": limit_label,
        "limit_text": limit_text,
        "verdict_said": verdict_said,
        "step_text": lambda step: words.say(f"step.{step.code}.text"),
        "step_reason": lambda step: words.say(f"reason.{step.reason}.text"),
        "note_texts": lambda notes, section="note": [words.note(n, section) for n in notes],
    }
