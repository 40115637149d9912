"""What went into a cured piece: the raw cut, and the salt, sugar, agents and spices put on it."""

from __future__ import annotations

from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.actions.food_book import known_by_name
from saltfare.actions.piece_start import replanned
from saltfare.core import foods
from saltfare.core.errors import NotConverged, OutOfRange, Problem, Refused
from saltfare.core.figure import Note
from saltfare.core.tables import Row
from saltfare.journal.piece import PieceState
from saltfare.journal.piece import piece as piece_of
from saltfare.models.composition import Amounts, Food, energies_known, portion
from saltfare.models.cured_food import cured_amounts, cut_at_fat
from saltfare.models.declared import Declared

_NOTHING = Declared(frozenset(), frozenset(), frozenset(), frozenset())


@dataclass(frozen=True, slots=True)
class Cured:
    """A piece as amounts that stay, nothing cut off.

    parts: the raw cut, salt and sugar it took up [kg; J]. put_in: name, mass put on, what is known of it;
    agents: rows of `cure_agents`. kept_frac: what cuts left. fat_frac: of the raw meat.
    """

    parts: tuple[Amounts, ...]
    put_in: tuple[tuple[str, float, Declared], ...]
    agents: tuple[str, ...]
    kept_frac: float
    fat_frac: float
    salt_kg: float
    water: Row
    rows: tuple[Row, ...]
    notes: tuple[Note, ...]


def cured(context: Context, state: PieceState) -> Cured:
    """What went into a piece, and what of it stays. Raises Refused, OutOfRange where its plan fails."""
    if state.parts:
        return _tied(context, state)
    library, begun = context.library, state.started
    cut, named = library.row("cuts", begun.cut), library.row("cut_foods", begun.cut)
    meat, salt_row, sugar_row = (
        foods.row(library, number) for number in (named.text("food"), *_pantry(context, "salt", "sugar"))
    )
    fat = begun.fat_share.value if begun.fat_share else cut.number("fat_pct")
    green = begun.green_weight.value
    hung_kg = state.hung[-1].body.mass.value if state.hung else None
    hanging = replanned(context, state, hanging_kg=hung_kg).hanging
    salt_kg, sugar_kg = hanging.salt_kg, hanging.sugar_kg
    parts = [cut_at_fat(food=Food.from_row(meat), mass_kg=green, fat_frac=fat)]
    parts += [_of(row, kg) for row, kg in ((salt_row, salt_kg), (sugar_row, sugar_kg)) if kg > 0.0]
    holds = frozenset(named.text("holds").split())
    put_in = [(cut.text("label"), green, Declared(frozenset(), frozenset(), holds, frozenset()))]
    seasoned, agents = _seasoned(context, state)
    notes = (
        [] if begun.fat_share else [Note("content_fat_usual", {"fat_frac": fat, "cut": cut.text("label")})]
    )
    if begun.bone_in or begun.skin_on:
        notes.append(Note("content_bone_or_skin"))
    notes += (
        [Note("content_spices_not_counted")] if any(name for name, _, _, spice in seasoned if spice) else []
    )
    return Cured(
        parts=tuple(parts),
        put_in=(*put_in, *((name, kg, declared) for name, kg, declared, _ in seasoned)),
        agents=agents,
        kept_frac=state.kept_frac,
        fat_frac=fat,
        salt_kg=salt_kg,
        water=foods.row(library, *_pantry(context, "water")),
        rows=(cut, named, meat, salt_row, sugar_row),
        notes=tuple(notes),
    )


@dataclass(frozen=True, slots=True)
class CuredShare:
    """So much of a cured piece. put_in: name, mass that went in for it, what is known of it. whole: the piece
    it is of, and uncut_kg what that weighs with what cuts took."""

    amounts: Amounts
    put_in: tuple[tuple[str, float, Declared], ...]
    whole: Cured
    uncut_kg: float


def cured_share(context: Context, state: PieceState, *, whole_kg: float, mass_kg: float) -> CuredShare:
    """So much of a piece that weighs so much now. Raises Refused (content_not_told)."""
    try:
        found = cured(context, state)
        water = Food.from_row(found.water)
        # nothing cut off: what was trimmed away was the same meat
        uncut = whole_kg / found.kept_frac
        amounts = cured_amounts(parts=found.parts, water=water, mass_kg=uncut)
    except (Refused, OutOfRange, NotConverged):
        raise Refused(Problem("content_not_told", "code", state.code)) from None
    share = mass_kg / uncut
    return CuredShare(
        amounts=portion(amounts=amounts, mass_kg=mass_kg),
        put_in=tuple((name, kg * share, declared) for name, kg, declared in found.put_in),
        whole=found,
        uncut_kg=uncut,
    )


def down_kg(state: PieceState) -> float:
    """What a piece weighed when it was packed, or weighs now. Raises Refused (content_not_told)."""
    down = state.taken_down[-1].body.mass if state.taken_down else None
    mass = down.value if down else state.last_mass_kg
    if mass is None:
        raise Refused(Problem("content_not_told", "code", state.code))
    return mass


def _pantry(context: Context, *names: str) -> tuple[str, ...]:
    return tuple(context.library.row("pantry", name).text("food") for name in names)


def _of(row: Row, mass_kg: float) -> Amounts:
    """So much of a food with nothing done to it."""
    food = Food.from_row(row)
    known = {name: value * mass_kg for name, value in food.per_kg.items()}
    known |= energies_known(food=food, mass_kg=mass_kg, known=known, listed_j=known.get("energy"))
    return Amounts(mass_kg, known, {})


def _tied(context: Context, state: PieceState) -> Cured:
    """A piece tied of others: their parts, as much of each as went in."""
    found = [cured(context, piece_of(context.journal, code)) for code in state.parts]
    return Cured(
        parts=tuple(
            portion(amounts=one, mass_kg=one.mass_kg * part.kept_frac) for part in found for one in part.parts
        ),
        put_in=tuple((n, kg * part.kept_frac, d) for part in found for n, kg, d in part.put_in),
        agents=tuple(dict.fromkeys(agent for part in found for agent in part.agents)),
        kept_frac=state.kept_frac,
        fat_frac=found[0].fat_frac,
        salt_kg=sum(part.salt_kg * part.kept_frac for part in found),
        water=found[0].water,
        rows=tuple({row.ref: row for part in found for row in part.rows}.values()),
        notes=tuple({note.code: note for part in found for note in part.notes}.values()),
    )


def _seasoned(
    context: Context, state: PieceState
) -> tuple[list[tuple[str, float, Declared, bool]], tuple[str, ...]]:
    """Salt, sugar, agents and spices as they were put on, or as planned where nobody weighed; agents in it.

    The salt of a cure mix is salt.
    """
    library, begun = context.library, state.started
    masses = {"mix": 0.0, "salt": 0.0, "sugar": 0.0}
    spices: dict[str, float] = {}
    for entry in state.salted:
        for name in masses:
            told = getattr(entry.body, name)
            masses[name] += told.value if told is not None else 0.0
        for name, told in entry.body.spices.items():
            spices[name] = spices.get(name, 0.0) + told.value
    if not any(masses.values()) and begun.plan is not None:
        planned = begun.plan.weighed_out
        masses = {
            "mix": planned("cure_mix_dose"),
            "salt": planned("salt_dose"),
            "sugar": planned("sugar_dose"),
        }
        spices = {name: planned(f"spice_dose:{name}") for name in begun.salting.spices}
    out: list[tuple[str, float, Declared, bool]] = []
    agents: list[str] = []
    mix = begun.salting.mix
    if mix is not None:
        shares = {f"{mix.nitrite_salt}_nitrite": mix.nitrite.value}
        if mix.nitrate is not None:
            shares[f"{mix.nitrate_salt}_nitrate"] = mix.nitrate.value
        shares = {agent: share for agent, share in shares.items() if share > 0.0}
        agents = list(shares)
        rest = mix.salt.value if mix.salt is not None else 1.0 - sum(shares.values())
        masses["salt"] += masses["mix"] * rest
        out += [
            (library.row("cure_agents", agent).text("label"), masses["mix"] * share, _NOTHING, False)
            for agent, share in shares.items()
        ]
    for name in ("salt", "sugar"):
        if masses[name] > 0.0:
            out.append((library.row("pantry", name).text("label"), masses[name], _NOTHING, False))
    out += [(name, kg, known_by_name(context, name), True) for name, kg in spices.items() if kg > 0.0]
    return out, tuple(agents)
