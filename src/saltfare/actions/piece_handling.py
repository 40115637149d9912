"""What really happens to a piece beside its plan: drained, rested, shaped, smoked, cut, tied, ended."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.piece_forecast import made_of
from saltfare.actions.piece_shapes import Length, ScaleStep, Thickness, Width
from saltfare.actions.piece_stages import open_to
from saltfare.actions.piece_work import OnePiece, Tare, Weight, doubt, found, with_forecast
from saltfare.actions.shapes import Command, Done, done
from saltfare.core.errors import Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.journal import events_handling as kinds
from saltfare.journal import events_lot as lots
from saltfare.journal.events import Body
from saltfare.journal.events_piece import STREAM, TakenDown
from saltfare.journal.piece import PieceState

# A slice taken to taste: more than a tenth of a piece is a portion, and is asked about.
_TASTE_FRAC = 0.10
# Weighing two pieces apart and together differs by steps of the scale, a per cent at the most.
_SUM_SLACK = 0.01


class DrainGiven(OnePiece):
    """The liquid poured off, and its salt where it was found out."""

    liquid: Annotated[Measured, Quantity("drained_liquid")] | None = None
    salt: Annotated[Measured, Quantity("liquid_salt_share")] | None = None


class RestGiven(OnePiece):
    """Laid to equalise, in a place. sealed: wrapped so that it loses nothing meanwhile."""

    place: Called
    temperature: Annotated[Measured, Quantity("rest_temperature")] | None = None
    sealed: bool


class RestEndGiven(OnePiece):
    """Hung again; its mass where it was weighed."""

    mass: Weight | None = None


class ShapeGiven(OnePiece):
    """Given a shape; its thickness where that changed."""

    how: Literal["dressed", "netted", "rolled", "tied", "butterflied"]
    thickness: Thickness | None = None


class InjectGiven(OnePiece):
    """Brine put inside, by mass."""

    brine: Annotated[Measured, Quantity("injected_brine")]
    salt: Annotated[Measured, Quantity("brine_salt_share")] | None = None
    nitrite: Annotated[Measured, Quantity("brine_nitrite_share")] | None = None


class SmokeGiven(OnePiece):
    """Smoked, cold or hot; the hottest its middle was read, where a probe was in it."""

    how: Literal["cold", "hot"]
    lasted: Annotated[Measured, Quantity("smoking_time")]
    temperature: Annotated[Measured, Quantity("smoke_temperature")]
    core: Annotated[Measured, Quantity("core_temperature")] | None = None


class TasteGiven(OnePiece):
    """A slice cut off. Weigh before and after, so that the slice is not read as drying."""

    before: Weight
    after: Weight


class CutGiven(OnePiece):
    """Cut in pieces, each weighed; each gets a code of its own."""

    masses: tuple[Weight, ...] = Field(min_length=2, max_length=6)


class TieGiven(Command):
    """Pieces tied into one, each weighed, with the measures of the whole."""

    codes: tuple[str, ...] = Field(min_length=2, max_length=4)
    masses: tuple[Weight, ...] = Field(min_length=2, max_length=4)
    name: Called
    shape: Literal["slab", "cylinder"]
    thickness: Thickness
    length: Length
    width: Width | None = None


class TareGiven(OnePiece):
    """What hangs with it from now on."""

    tare: Tare


class LookGiven(OnePiece):
    """What was seen, smelt and felt. Tasting is no test."""

    mould: tuple[kinds.Mould, ...] = Field(default=(), max_length=7)
    smell: kinds.Smell | None = None
    soft_spot: bool = False
    slime: bool = False
    photo: str = Field(default="", max_length=200)
    text: str = Field(default="", max_length=2000)


class DiscardGiven(OnePiece):
    """Thrown out, and why."""

    why: str = Field(min_length=1, max_length=1000)
    mass: Weight | None = None


class Portion(Frozen):
    """Packs of one size. sealed: open to air, closed with air in it, or without oxygen."""

    packs: int = Field(ge=1, le=500)
    mass: Annotated[Measured, Quantity("pack_mass")]
    sealed: lots.Sealed
    place: Called


class TakeDownGiven(OnePiece):
    """Taken down: final mass, what was trimmed off, the packs it became."""

    mass: Weight
    trim: Annotated[Measured, Quantity("trim_mass")] | None = None
    portions: tuple[Portion, ...] = Field(default=(), max_length=12)
    scale_step: ScaleStep | None = None


class Divided(Done):
    """The codes of what came of it."""

    codes: tuple[str, ...]


def drain_piece(context: Context, given: DrainGiven) -> Done:
    """Record that the liquid was poured off between applications."""
    state = found(context, given.code)
    open_to(context, given, state, "drain_piece")
    if given.salt is not None and given.liquid is None:
        raise Refused(Problem("missing", "liquid"))
    if given.liquid is not None and given.liquid.value > 0.25 * state.green_weight_kg:
        doubt(given, "much_liquid", given.liquid.typed, field="liquid", green_kg=state.green_weight_kg)
    return _one(context, given, state, kinds.Drained(liquid=given.liquid, salt=given.salt))


def rest_piece(context: Context, given: RestGiven) -> Done:
    """Record that the piece was laid to rest, to equalise."""
    state = found(context, given.code)
    open_to(context, given, state, "rest_piece")
    if given.sealed and (given.temperature is None or given.temperature.value > _cold(context)):
        # the criterion of cold is the household's own caution, not a published line
        doubt(
            given,
            "sealed_rest_not_cold",
            given.temperature.typed if given.temperature else "",
            field="temperature",
            cold_c=_cold(context),
        )
    body = kinds.RestBegun(place=given.place, temperature=given.temperature, sealed=given.sealed)
    return _one(context, given, state, body)


def end_rest(context: Context, given: RestEndGiven) -> Done:
    """Record that the piece was hung again after a rest."""
    state = found(context, given.code)
    open_to(context, given, state, "end_rest")
    did = _one(context, given, state, kinds.RestEnded(mass=given.mass))
    return Done(**with_forecast(context, given, state.code, did)) if state.hung else did


def shape_piece(context: Context, given: ShapeGiven) -> Done:
    """Record that the piece was dressed, netted, rolled, tied or butterflied."""
    state = found(context, given.code)
    open_to(context, given, state, "shape_piece")
    return _one(context, given, state, kinds.Shaped(how=given.how, thickness=given.thickness))


def inject_piece(context: Context, given: InjectGiven) -> Done:
    """Record that brine was put inside the piece."""
    state = found(context, given.code)
    open_to(context, given, state, "inject_piece")
    if given.brine.value > state.green_weight_kg:
        raise Refused(Problem("impossible_brine", "brine", given.brine.typed))
    body = kinds.Injected(brine=given.brine, salt=given.salt, nitrite=given.nitrite)
    return _one(context, given, state, body)


def smoke_piece(context: Context, given: SmokeGiven) -> Done:
    """Record that the piece was smoked, cold or hot."""
    state = found(context, given.code)
    open_to(context, given, state, "smoke_piece")
    body = kinds.Smoked(how=given.how, lasted=given.lasted, temperature=given.temperature, core=given.core)
    return _one(context, given, state, body)


def taste_piece(context: Context, given: TasteGiven) -> Done:
    """Record a slice cut off, so that it is not read as drying."""
    state = found(context, given.code)
    open_to(context, given, state, "taste_piece")
    if given.after.value >= given.before.value:
        raise Refused(Problem("nothing_cut_off", "after", given.after.typed, given.before.typed))
    if given.after.value < given.before.value * (1 - _TASTE_FRAC):
        doubt(given, "large_taste", given.after.typed, field="after", before_kg=given.before.value)
    did = _one(context, given, state, kinds.Tasted(before=given.before, after=given.after))
    return Done(**with_forecast(context, given, state.code, did))


def cut_piece(context: Context, given: CutGiven) -> Divided:
    """Cut a piece up: each part goes on under a code of its own, with the history of the whole."""
    state = found(context, given.code)
    open_to(context, given, state, "cut_piece")
    whole = Measured.si(sum(mass.value for mass in given.masses))
    last = state.last_weight
    if last is not None and whole.value > last[1] * (1 + _SUM_SLACK):
        doubt(given, "parts_outweigh_whole", whole.typed, field="masses", last_kg=last[1])
    codes = codes_before(context, given, kinds.SplitOff) or new_codes(context, len(given.masses))
    parts = dict(zip(codes, given.masses, strict=True))
    bodies: list[tuple[str, Body]] = [(STREAM + state.code, kinds.CutInTwo(parts=parts))]
    bodies += [
        (STREAM + code, kinds.SplitOff(parent=state.code, whole=whole, mass=mass))
        for code, mass in parts.items()
    ]
    return Divided(**dict(done(context, given, bodies)), codes=codes)


def tie_pieces(context: Context, given: TieGiven) -> Divided:
    """Tie pieces into one that goes on under a code of its own."""
    if len(given.codes) != len(given.masses):
        raise Refused(Problem("one_mass_each", "masses", str(len(given.masses)), str(len(given.codes))))
    states = [found(context, code) for code in given.codes]
    for state in states:
        open_to(context, given, state, "tie_pieces")
    if len({state.code for state in states}) < len(states):
        raise Refused(Problem("tied_to_itself", "codes"))
    if given.shape == "slab" and given.width is None:
        raise Refused(Problem("missing", "width"))
    for index, (state, mass) in enumerate(zip(states, given.masses, strict=True)):
        dry = made_of(context, state).dry_kg * state.kept_frac
        if mass.value < dry:
            raise Refused(Problem("lighter_than_dry", f"masses.{index}", mass.typed, params={"dry_kg": dry}))
    code = (codes_before(context, given, kinds.TiedTogether) or new_codes(context, 1))[0]
    whole = kinds.TiedTogether(
        name=given.name,
        parts={state.code: mass for state, mass in zip(states, given.masses, strict=True)},
        shape=given.shape,
        thickness=given.thickness,
        length=given.length,
        width=given.width,
    )
    bodies: list[tuple[str, Body]] = [(STREAM + code, whole)]
    bodies += [
        (STREAM + state.code, kinds.TiedInto(code=code, mass=mass))
        for state, mass in zip(states, given.masses, strict=True)
    ]
    return Divided(**dict(done(context, given, bodies)), codes=(code,))


def change_tare(context: Context, given: TareGiven) -> Done:
    """Record that hook, net or twine changed."""
    state = found(context, given.code)
    open_to(context, given, state, "change_tare")
    return _one(context, given, state, kinds.TareChanged(tare=given.tare))


def look_at_piece(context: Context, given: LookGiven) -> Done:
    """Record what was seen, smelt and felt."""
    state = found(context, given.code)
    open_to(context, given, state, "look_at_piece")
    seen = (given.mould, given.smell, given.soft_spot, given.slime, given.photo, given.text)
    if not any(seen):
        raise Refused(Problem("nothing_seen", "text"))
    body = kinds.Looked(
        mould=given.mould,
        smell=given.smell,
        soft_spot=given.soft_spot,
        slime=given.slime,
        photo=given.photo,
        text=given.text,
    )
    return _one(context, given, state, body)


def discard_piece(context: Context, given: DiscardGiven) -> Done:
    """Record that the piece was thrown out, and why."""
    state = found(context, given.code)
    open_to(context, given, state, "discard_piece")
    return _one(context, given, state, kinds.Discarded(why=given.why, mass=given.mass))


def take_down(context: Context, given: TakeDownGiven) -> Divided:
    """Take a piece down: final mass, trim, and the lots it becomes."""
    state = found(context, given.code)
    open_to(context, given, state, "take_down")
    at = given.at or context.now
    if at < state.hung[-1].at:
        raise Refused(Problem("before_hanging", "at", at.isoformat(), state.hung[-1].at.isoformat()))
    target = state.target_now_kg
    if target is not None and given.mass.value > target * 1.005:
        doubt(given, "above_its_mass", given.mass.typed, mass_kg=given.mass.value, target_kg=target)
    packed = sum(portion.packs * portion.mass.value for portion in given.portions)
    trim = given.trim.value if given.trim else 0.0
    if packed + trim > given.mass.value * (1 + _SUM_SLACK):
        raise Refused(
            Problem(
                "packs_outweigh_piece",
                "portions",
                params={"packed_kg": packed + trim, "mass_kg": given.mass.value},
            )
        )
    codes = codes_before(context, given, lots.LotMade) or new_codes(context, len(given.portions))
    bodies: list[tuple[str, Body]] = [
        (STREAM + state.code, TakenDown(mass=given.mass, trim=given.trim, lots=codes))
    ]
    bodies += [
        (
            lots.STREAM + code,
            lots.LotMade(
                name=state.name,
                piece=state.code,
                packs=portion.packs,
                mass=portion.mass,
                sealed=portion.sealed,
                place=portion.place,
                packed_on=at.astimezone(context.zone).date(),
            ),
        )
        for code, portion in zip(codes, given.portions, strict=True)
    ]
    return Divided(**dict(done(context, given, bodies)), codes=codes)


def _one(context: Context, given: OnePiece, state: PieceState, body: Body) -> Done:
    return done(context, given, [(STREAM + state.code, body)])


def _cold(context: Context) -> float:
    return context.library.row("salting_rules", "cold_limit").number("temp_c")
