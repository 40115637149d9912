"""What an item gives and holds, as a menu counts it, and which of it somebody may not have.

What is not known is never taken as absent: an unknown ingredient keeps the item from everybody who asks for
anything to be left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from saltfare.actions.context import Context
from saltfare.actions.dish_recipe import food_known
from saltfare.actions.pack_content import dish_content, pack_content, piece_content
from saltfare.actions.pack_whole import PackContent, with_beside
from saltfare.core.errors import Refused
from saltfare.core.figure import Answer
from saltfare.core.library import Library
from saltfare.journal.dish import DishState
from saltfare.journal.events_trip import EatsNo, StapleWanted
from saltfare.journal.lot import LotState, lots
from saltfare.journal.piece import PieceState
from saltfare.models.composition import Food
from saltfare.models.declared import ClassFound, Declared, Presence, allergens_found, diet_found
from saltfare.models.trip_energy import KCAL_J

LAWS = ("us", "eu")


@dataclass(frozen=True, slots=True)
class Content:
    """What is in one pack. None: not known. present, unsure: classes and ids of allergens. diets: answer by
    diet. minutes_span: soonest and latest. lacking: figures a menu needs and nobody knows."""

    mass_g: float
    kcal: float | None
    protein_g: float | None
    sodium_mg: float | None
    water_ml: float | None
    minutes: float | None
    minutes_span: tuple[float | None, float | None]
    servings: int | None
    volume_ml: float | None
    ingredients: tuple[str, ...]
    present: frozenset[str]
    unsure: frozenset[str]
    diets: Mapping[str, Answer]

    def scaled(self, share: float) -> Content:
        """So much of it, as one serving or more."""

        def part(value: float | None) -> float | None:
            return None if value is None else value * share

        return replace(
            self,
            mass_g=self.mass_g * share,
            kcal=part(self.kcal),
            protein_g=part(self.protein_g),
            sodium_mg=part(self.sodium_mg),
            water_ml=part(self.water_ml),
            volume_ml=part(self.volume_ml),
            servings=None,
        )

    @property
    def lacking(self) -> tuple[str, ...]:
        """Figures without which it cannot be planned with."""
        wanted = {"energy": self.kcal, "protein": self.protein_g}
        return tuple(name for name, value in wanted.items() if value is None)


def lot_contents(context: Context, lot: LotState) -> Content:
    """What is in one pack of a lot with what goes beside it; nothing known where nothing tells."""
    try:
        found = pack_content(context, lot)
    except Refused:
        return _unknown(context.library, 1000.0 * lot.made.mass.value)
    made = _of_pack(context.library, with_beside(context, found))
    if not _has_bought(context, lot):
        return made
    # a product goes by its name among ingredients: only what its label lists says what is in it
    return replace(made, ingredients=(found.printed,) if found.printed and lot.made.bought else ())


def _has_bought(context: Context, lot: LotState) -> bool:
    if lot.made.bought is not None:
        return True
    known = {one.code: one.made.bought for one in lots(context.journal)} if lot.made.parts else {}
    return any(known.get(part.code, "") is not None for part in lot.made.parts)


def piece_contents(context: Context, state: PieceState, mass_kg: float) -> Content:
    """What is in so much of a piece as it is expected to be when done."""
    try:
        found = piece_content(context, state, mass_kg=mass_kg)
    except Refused:
        return _unknown(context.library, 1000.0 * mass_kg)
    return _of_pack(context.library, found)


def batch_contents(context: Context, state: DishState) -> tuple[Content, int]:
    """What is in a pack of a batch as planned with what goes beside it, and how many packs.

    Raises Refused where its plan does not hold.
    """
    found = dish_content(context, state)
    return _of_pack(context.library, with_beside(context, found)), state.choice.packs


def _unknown(library: Library, mass_g: float) -> Content:
    return Content(
        mass_g=mass_g,
        kcal=None,
        protein_g=None,
        sodium_mg=None,
        water_ml=None,
        minutes=None,
        minutes_span=(None, None),
        servings=None,
        volume_ml=None,
        ingredients=(),
        present=frozenset(),
        unsure=_all_classes(library),
        diets={},
    )


def _of_pack(library: Library, found: PackContent) -> Content:
    present, unsure = _classes(one for law in found.allergens.values() for one in law)
    names = tuple(name for name, _ in found.ingredients)
    return Content(
        mass_g=1000.0 * found.mass_kg,
        kcal=found.kcal,
        protein_g=found.protein_g,
        sodium_mg=found.sodium_mg,
        water_ml=found.water_to_add_ml,
        minutes=found.minutes,
        minutes_span=found.minutes_span,
        servings=max(round(found.servings), 1) if found.water_to_add_ml or found.servings != 1.0 else None,
        volume_ml=found.volume_ml,
        ingredients=names,
        present=present,
        unsure=unsure if found.allergens else _all_classes(library),
        diets={diet: answer.answer for diet, answer in found.diets.items()},
    )


def food_contents(context: Context, staple: StapleWanted) -> Content:
    """A packet of a plain food as sold, by its row of the food table."""
    known = food_known(context, staple.food)
    amounts = Food.from_row(known.row).per_kg
    kg = staple.pack.value
    declared: list[tuple[str, Declared]] = [(staple.food, known.declared)]
    library = context.library
    found = [
        one
        for law in LAWS
        for one in allergens_found(
            ingredients=declared, classes={r.text("id"): r.text(law) for r in library.rows("allergens")}
        )
    ]
    present, unsure = _classes(found)
    energy, protein, sodium = (amounts.get(name) for name in ("energy", "protein", "sodium"))
    water = None if staple.water is None else 1e6 * staple.water.value
    portions = max(round(kg / staple.portion.value), 1)
    label = known.usual.text("label") if known.usual is not None else known.row.text("name")
    return Content(
        mass_g=1000.0 * kg,
        kcal=None if energy is None else energy * kg / KCAL_J,
        protein_g=None if protein is None else 1000.0 * protein * kg,
        sodium_mg=None if sodium is None else 1e6 * sodium * kg,
        water_ml=None if water is None else water * portions,
        minutes=None,
        minutes_span=(None, None),
        servings=portions,
        volume_ml=None,
        ingredients=(label,),
        present=present,
        unsure=unsure,
        diets={
            row.text("id"): diet_found(
                ingredients=declared, leaves_out=frozenset(row.text("leaves_out").split())
            ).answer
            for row in library.rows("diets")
        },
    )


def _classes(found: Iterable[ClassFound]) -> tuple[frozenset[str], frozenset[str]]:
    """Classes and ids that are in, and classes that may be."""
    present, unsure = set[str](), set[str]()
    for one in found:
        if one.presence is Presence.CONTAINS:
            present |= {one.allergen_class, *(allergen for _, allergen in one.by)}
        if one.presence is Presence.CANNOT_TELL or one.unsure:
            unsure.add(one.allergen_class)
    return frozenset(present), frozenset(unsure)


def _all_classes(library: Library) -> frozenset[str]:
    return frozenset(row.text(law) for row in library.rows("allergens") for law in LAWS) - {""}


def refused_marks(library: Library, eats_no: EatsNo) -> frozenset[str]:
    """What keeps an item from somebody, as marks: of what is in it, and of what may be."""
    out = {f"diet:{diet}" for diet in eats_no.diets} | {f"word:{_word(w)}" for w in eats_no.ingredients}
    for name in eats_no.allergens:
        out.add(f"allergen:{name}")
        for row in library.rows("allergens"):
            classes = {row.text(law) for law in LAWS} - {""}
            if name == row.text("id") or name in classes:
                if name in classes:
                    out.add(f"allergen:{row.text('id')}")
                out |= {f"unsure:{one}" for one in classes}
    return frozenset(out)


def marks(library: Library, content: Content, words: Sequence[str]) -> frozenset[str]:
    """What is in an item, as marks somebody may refuse. words: those asked for by the party."""
    out = {f"allergen:{name}" for name in content.present} | {f"unsure:{name}" for name in content.unsure}
    for row in library.rows("diets"):
        diet = row.text("id")
        if content.diets.get(diet, Answer.CANNOT_TELL) is not Answer.MEETS:
            out.add(f"diet:{diet}")
    names = [_word(name) for name in content.ingredients]
    out |= {f"word:{_word(w)}" for w in words if not names or any(_word(w) in name for name in names)}
    return frozenset(out)


def _word(text: str) -> str:
    return " ".join(text.casefold().split())
