"""What is done to a batch: cooked, cooled, laid on trays, weighed, conditioned, tried, packed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from saltfare.actions.codes_given import codes_before, new_codes
from saltfare.actions.context import Context
from saltfare.actions.dish_request import trial_of
from saltfare.actions.dish_shapes import OneDish, PackMass
from saltfare.actions.dish_stages import found, open_to
from saltfare.actions.dish_start import cooked_checked
from saltfare.actions.dish_view import plan_of
from saltfare.actions.judged_logs import checked, rules_of
from saltfare.actions.judged_shapes import ChillDelay, ReadingGiven, TemperatureError
from saltfare.actions.lot_work import enough
from saltfare.actions.piece_stages import repeated
from saltfare.actions.piece_work import doubt
from saltfare.actions.shapes import Done, done
from saltfare.core.errors import NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Called, Frozen, Measured, Quantity
from saltfare.core.figure import Note
from saltfare.journal import events_dish as kinds
from saltfare.journal import events_judged as judged
from saltfare.journal import events_lot as lots
from saltfare.journal.dish import DishStage, DishState
from saltfare.journal.events import Body, Noted
from saltfare.journal.lot import LotState
from saltfare.journal.lot import lot as lot_of
from saltfare.models import trays_end
from saltfare.models.trays_end import TrayWeight
from saltfare.plans.dish_plan_pouch import RULES, trial_problems

# Weighing a dish whole and in packs differs by steps of the scale, a per cent at the most.
_SUM_SLACK = 0.01

CookedMass = Annotated[Measured, Quantity("cooked_mass")]
PotTare = Annotated[Measured, Quantity("pot_tare")]
TrayMass = Annotated[Measured, Quantity("tray_weight")]
TrayTare = Annotated[Measured, Quantity("tray_tare")]
ScaleStep = Annotated[Measured, Quantity("scale_step")]


class CookGiven(OneDish):
    """Cooked. mass: what the scale shows; tare: the empty pot, where it was weighed with it. Both are left
    out where nothing was weighed."""

    mass: CookedMass | None = None
    tare: PotTare | None = None
    left_behind: Annotated[Measured, Quantity("left_behind")] | None = None


class CoolGiven(OneDish):
    """Put to cool, and how. readings: of a thermometer in its middle, at least two. place: of the probe."""

    how: str = Field(default="", max_length=200)
    readings: tuple[ReadingGiven, ...] = Field(default=(), max_length=20_000)
    error: TemperatureError | None = None
    place: judged.ProbePlace = "not_said"
    chill_delay: ChillDelay | None = None


class TrayGiven(OneDish):
    """Laid on the trays, which go in. mass: what the scale shows; tare: all the trays empty, where they were
    weighed with it. Left out where all that was cooked is on them."""

    mass: TrayMass | None = None
    tare: TrayTare | None = None
    trays: int | None = Field(default=None, ge=1, le=1000)


class OneTray(Frozen):
    """A tray on the scale, and the same tray empty."""

    mass: TrayMass
    tare: TrayTare


class WeighTraysGiven(OneDish):
    """The trays on the scale: all together by `mass`, or one by one in `each`. tare: all of them empty, as
    told before where it is left out. brittle: whether the thickest piece snapped when cool."""

    mass: TrayMass | None = None
    tare: TrayTare | None = None
    each: tuple[OneTray, ...] = Field(default=(), max_length=60)
    scale_step: ScaleStep | None = None
    brittle: bool | None = None


class SpoonfulGiven(OneDish):
    """A spoonful weighed, dried beside the trays until it no longer changed, and weighed again."""

    wet: Annotated[Measured, Quantity("spoonful_wet")]
    dry: Annotated[Measured, Quantity("spoonful_dry")]
    scale_step: ScaleStep | None = None


class ConditionGiven(OneDish):
    """Into a closed jar to even out, shaken, or back on the trays. damp: it stuck together or misted the
    glass. mass: of the dried dish, where it was weighed; tare: the jar."""

    step: kinds.Conditioning
    mass: Annotated[Measured, Quantity("jar_mass")] | None = None
    tare: Annotated[Measured, Quantity("pot_tare")] | None = None
    damp: bool = False


class TryGiven(OneDish):
    """A test pouch: what was in it, the water poured, after how long it was opened, and what it was like.

    dry: as a pack of the plan where it is left out. opened: time from the pour. too_wet: water stood on it;
    off: how much was poured off. added: put in later because it was dry. soft_at: when it was soft after
    all. altitude, air, wind, cover: where it was tried; as the camp of the plan where they are left out.
    lot: the lot of the batch whose pack it was, which leaves the shelf with it; None for none of the shelf.
    """

    dry: Annotated[Measured, Quantity("pouch_dry")] | None = None
    water: Annotated[Measured, Quantity("poured")]
    opened: Annotated[Measured, Quantity("soak_time")]
    too_wet: bool = False
    hard_in_the_middle: bool = False
    off: Annotated[Measured, Quantity("poured_off")] | None = None
    added: Annotated[Measured, Quantity("water_added")] | None = None
    soft_at: Annotated[Measured, Quantity("soak_time")] | None = None
    altitude: Annotated[Measured, Quantity("camp_altitude")] | None = None
    air: Annotated[Measured, Quantity("camp_air")] | None = None
    wind: Annotated[Measured, Quantity("camp_wind")] | None = None
    cover: str | None = Field(default=None, max_length=40)
    lot: str | None = Field(default=None, max_length=20)
    text: str = Field(default="", max_length=2000)


class PackedPortion(Frozen):
    """Packs of one size. sealed: open to air, closed with air in it, or without oxygen. film: row of the
    film library, where it is known."""

    packs: int = Field(ge=1, le=500)
    mass: PackMass
    sealed: lots.Sealed
    place: Called
    film: str = Field(default="", max_length=80)
    takes_boiling_water: bool | None = None
    absorber: Annotated[Measured, Quantity("absorber_capacity")] | None = None


class PackGiven(OneDish):
    """Packed into packs of so much each. more: some of it is left and goes on conditioning."""

    portions: tuple[PackedPortion, ...] = Field(min_length=1, max_length=12)
    more: bool = False


class DishNoteGiven(OneDish):
    """A remark."""

    text: str = Field(min_length=1, max_length=4000)


class DiscardDishGiven(OneDish):
    """Thrown out, and why."""

    why: str = Field(min_length=1, max_length=1000)


class PackedInto(Done):
    """The codes of the lots."""

    codes: tuple[str, ...]


def cook_dish(context: Context, given: CookGiven) -> Done:
    """Record that the dish was cooked, and what the pot holds."""
    state = found(context, given.code)
    open_to(context, given, state, "cook_dish")
    mass = _net(given.mass, given.tare, "pot_lighter_than_tare")
    left = given.left_behind.value if given.left_behind else 0.0
    if mass is not None:
        cooked_checked(context, state.choice, cooked_kg=mass.value, left_behind_kg=left)
    body = kinds.DishCooked(mass=mass, tare=given.tare, left_behind=given.left_behind)
    return _one(context, given, state, body)


def cool_dish(context: Context, given: CoolGiven) -> Done:
    """Record that the dish was put to cool, with the log of its middle where there is one."""
    state = found(context, given.code)
    open_to(context, given, state, "cool_dish")
    bodies: list[Body] = []
    if not state.cooled:
        bodies.append(kinds.DishCooled(how=given.how))
    if given.readings:
        if len(given.readings) < 2:
            raise Refused(Problem("too_few", "readings", str(len(given.readings)), "2"))
        for rules in rules_of(context, "cooling"):
            checked(
                readings=[(r.at, r.temperature.value) for r in given.readings],
                error_k=given.error.value if given.error else None,
                rules=rules,
            )
        late = max(reading.at for reading in given.readings)
        if late > context.now:
            raise Refused(Problem("in_the_future", "readings", late.isoformat()))
        bodies.append(
            judged.TemperatureLogged(
                of="cooling",
                readings=tuple(judged.LogReading(at=r.at, temperature=r.temperature) for r in given.readings),
                error=given.error,
                place=given.place,
                chill_delay=given.chill_delay,
            )
        )
    if not bodies:
        raise Refused(Problem("dish_cooled_already", "readings", state.code))
    return done(context, given, [(kinds.STREAM + state.code, body) for body in bodies])


def tray_dish(context: Context, given: TrayGiven) -> Done:
    """Record that the dish was laid on the trays and they went in."""
    state = found(context, given.code)
    open_to(context, given, state, "tray_dish")
    mass = _net(given.mass, given.tare, "tray_lighter_than_tare")
    put_in = sum(one.mass.value * (one.edible.value if one.edible else 1.0) for one in state.choice.lines)
    limit = state.cooked_kg or put_in
    if mass is not None and mass.value > limit * (1 + _SUM_SLACK):
        params: dict[str, str | float | int] = {"trayed_kg": mass.value, "cooked_kg": limit}
        raise Refused(Problem("trayed_heavier_than_cooked", "mass", mass.typed, params=params))
    # a little more on the trays than in the pot is the scale: it is all of it
    kept = None if mass is not None and mass.value > limit else mass
    body = kinds.DishTrayed(mass=kept, tare=given.tare, trays=given.trays)
    return _one(context, given, state, body)


def weigh_trays(context: Context, given: WeighTraysGiven) -> Done:
    """Record what the trays weigh, each or all together, and whether the thickest piece is brittle."""
    state = found(context, given.code)
    open_to(context, given, state, "weigh_trays")
    each = tuple(kinds.OnScale(gross=one.mass, tare=one.tare) for one in given.each)
    if (given.mass is None) == (not each):
        raise Refused(Problem("trays_one_way", "mass"))
    if given.mass is not None:
        tare = given.tare or state.tare
        if tare is None:
            raise Refused(Problem("tray_tare_missing", "tare"))
        each = (kinds.OnScale(gross=given.mass, tare=tare),)
    for index, one in enumerate(each):
        if one.gross.value <= one.tare.value:
            field = f"each.{index}.mass" if given.each else "mass"
            params: dict[str, str | float | int] = {
                "gross_kg": one.gross.value,
                "tare_kg": one.tare.value,
            }
            raise Refused(Problem("tray_lighter_than_tare", field, one.gross.typed, params=params))
    body = kinds.TraysWeighed(each=each, scale_step=given.scale_step, brittle=given.brittle)
    at, since = given.at or context.now, state.trays_since
    if since is None or at <= since:
        raise Refused(Problem("before_trays", "at", at.isoformat(), since.isoformat() if since else ""))
    laid = state.laid_kg or state.cooked_kg or plan_of(context, state).trayed_kg
    problems = trays_end.tray_weight_problems(
        laid_kg=laid,
        weights=[TrayWeight((at - since).total_seconds(), body.gross_kg, body.tare_kg)],
    )
    if problems:
        raise Refused(*(Problem(p.code, "mass", body.each[0].gross.typed, params=p.params) for p in problems))
    before = [e for e in state.weights if e.at < at]
    if before:
        last = before[-1].body
        net, was = body.gross_kg - body.tare_kg, last.gross_kg - last.tare_kg
        if net > was * (1 + _SUM_SLACK):
            typed = body.each[0].gross.typed
            doubt(given, "trays_heavier_than_last", typed, mass_kg=net, last_kg=was)
    return _one(context, given, state, body)


def dry_spoonful(context: Context, given: SpoonfulGiven) -> Done:
    """Record a spoonful dried to constant mass, which pins the solids of the dish."""
    state = found(context, given.code)
    open_to(context, given, state, "dry_spoonful")
    left = context.library.row(RULES, "constant_mass_water")
    step = given.scale_step.value if given.scale_step else state.choice.scale_step.value
    try:
        trays_end.spoonful_solids(
            wet_kg=given.wet.value,
            dry_kg=given.dry.value,
            scale_step_kg=step,
            left_kg_per_kg=left.number("share"),
            left_sd_kg_per_kg=left.number("sd"),
        )
    except Refused as refused:
        raise Refused(*(Problem(p.code, "dry", p.given, params=p.params) for p in refused.problems)) from None
    body = kinds.SpoonfulDried(wet=given.wet, dry=given.dry, scale_step=given.scale_step)
    return _one(context, given, state, body)


def condition_dish(context: Context, given: ConditionGiven) -> Done:
    """Record that the dried dish went into a closed jar, was shaken, or went back on the trays."""
    state = found(context, given.code)
    open_to(context, given, state, "condition_dish")
    in_jar = state.state is DishStage.CONDITIONING
    if (given.step == "in_jar") == in_jar and not repeated(context, given):
        raise Refused(Problem("in_jar_already" if in_jar else "not_in_jar_yet", "step", state.code))
    mass = _net(given.mass, given.tare, "jar_lighter_than_tare")
    return _one(context, given, state, kinds.Conditioned(step=given.step, mass=mass, damp=given.damp))


def try_pouch(context: Context, given: TryGiven) -> Done:
    """Record a test pouch: what it showed corrects water and minutes of the next label."""
    state = found(context, given.code)
    open_to(context, given, state, "try_pouch")
    notes = []
    dry = given.dry or Measured.si(plan_of(context, state).packs.each.mass_kg)
    off = given.off
    if given.too_wet and off is None:
        share = context.library.row(RULES, "hold_back").number("share")
        off = Measured.si(share * given.water.value)
        notes.append(Note("too_wet_not_weighed", {"off_frac": share}))
    hard = given.opened if given.hard_in_the_middle else None
    soft = given.soft_at if given.hard_in_the_middle else given.soft_at or given.opened
    camp = state.choice.camp
    where = camp.model_copy(
        update={
            "altitude": given.altitude or camp.altitude,
            "air": given.air or camp.air,
            "wind": given.wind or camp.wind,
            "cover": given.cover or camp.cover,
        }
    )
    try:
        context.library.row("pouch_covers", where.cover)
    except NotFound:
        raise Refused(Problem("not_one_of", "cover", where.cover)) from None
    seen = kinds.PouchSeen(
        where=where,
        dry=dry,
        water=given.water,
        off=off,
        added=given.added,
        hard_at=hard,
        soft_at=soft,
        too_wet=given.too_wet,
    )
    problems = trial_problems(trial=trial_of(seen), field="seen")
    if problems:
        named = {"seen": "off", "seen.water": "water", "seen.hard_at": "opened", "seen.soft_at": "soft_at"}
        raise Refused(
            *(Problem(p.code, named.get(p.field, "off"), p.given, params=p.params) for p in problems)
        )
    bodies: list[tuple[str, Body]] = []
    versions = {}
    if given.lot is not None:
        pack = _tried_of(context, given, state)
        drawn = lots.PacksDrawn(packs=1, why="eaten", tried=state.code)
        bodies, versions = [(lots.STREAM + pack.code, drawn)], {lots.STREAM + pack.code: pack.version}
    tried = kinds.PouchTried(seen=seen, lot=given.lot, text=given.text)
    did = done(context, given, [(kinds.STREAM + state.code, tried), *bodies], seen=versions)
    return did.model_copy(update={"notes": (*did.notes, *notes)})


def pack_dish(context: Context, given: PackGiven) -> PackedInto:
    """Pack the dried dish: packs of so much each become lots with codes of their own."""
    state = found(context, given.code)
    open_to(context, given, state, "pack_dish")
    packed = sum(portion.packs * portion.mass.value for portion in given.portions)
    there = state.jar_kg or state.on_trays_kg
    if there is not None and packed + state.packed_kg > there * (1 + _SUM_SLACK):
        params: dict[str, str | float | int] = {"packed_kg": packed + state.packed_kg, "dish_kg": there}
        raise Refused(Problem("packs_outweigh_dish", "portions", params=params))
    if there is None:
        _doubt_dried(context, given, state, packed)
    codes = codes_before(context, given, lots.LotMade) or new_codes(context, len(given.portions))
    on = (given.at or context.now).astimezone(context.zone).date()
    portions = tuple(
        kinds.PackedAs(lot=code, packs=one.packs, mass=one.mass, sealed=one.sealed)
        for code, one in zip(codes, given.portions, strict=True)
    )
    bodies: list[tuple[str, Body]] = [
        (kinds.STREAM + state.code, kinds.DishPacked(portions=portions, rest=not given.more))
    ]
    bodies += [
        (
            lots.STREAM + code,
            lots.LotMade(
                name=state.name,
                dish=state.code,
                packs=one.packs,
                mass=one.mass,
                sealed=one.sealed,
                place=one.place,
                packed_on=on,
                pouch=_pouch(one),
            ),
        )
        for code, one in zip(codes, given.portions, strict=True)
    ]
    return PackedInto(**dict(done(context, given, bodies)), codes=codes)


def _doubt_dried(context: Context, given: PackGiven, state: DishState, packed: float) -> None:
    """Nothing was weighed when it was dry: what is packed is held against the mass to stop at."""
    try:
        most = plan_of(context, state).end_kg.high
    except (Refused, OutOfRange):
        return
    if packed > most * (1 + _SUM_SLACK):
        typed = f"{packed:.6g} kg"
        doubt(given, "packs_heavier_than_dried", typed, field="portions", packed_kg=packed, dried_kg=most)


def _pouch(one: PackedPortion) -> lots.Pouch | None:
    if not one.film and one.takes_boiling_water is None and one.absorber is None:
        return None
    return lots.Pouch(film=one.film, takes_boiling_water=one.takes_boiling_water, absorber=one.absorber)


def note_dish(context: Context, given: DishNoteGiven) -> Done:
    """Write a note on a batch of a dish."""
    state = found(context, given.code)
    return done(context, given, [(kinds.STREAM + state.code, Noted(text=given.text))])


def discard_dish(context: Context, given: DiscardDishGiven) -> Done:
    """Record that the batch, or what was left of it, was thrown out, and why."""
    state = found(context, given.code)
    open_to(context, given, state, "discard_dish")
    return _one(context, given, state, kinds.DishDiscarded(why=given.why))


def _net(
    mass: Measured | None,
    tare: Measured | None,
    code: Literal["pot_lighter_than_tare", "tray_lighter_than_tare", "jar_lighter_than_tare"],
) -> Measured | None:
    """What the food alone weighs, with what was typed. Raises Refused where the empty thing weighs more."""
    if mass is None or tare is None:
        return mass
    if tare.value >= mass.value:
        params: dict[str, str | float | int] = {"gross_kg": mass.value, "tare_kg": tare.value}
        raise Refused(Problem(code, "tare", tare.typed, mass.typed, params))
    return Measured(typed=f"{mass.typed} - {tare.typed}", value=mass.value - tare.value)


def _tried_of(context: Context, given: TryGiven, state: DishState) -> LotState:
    """The lot a test pouch is taken from: one of the batch, with a pack left that no trip holds."""
    if given.lot not in state.lots:
        raise Refused(Problem("not_one_of", "lot", given.lot or "", ", ".join(state.lots)))
    pack = lot_of(context.journal, given.lot or "")
    if repeated(context, given):
        return pack
    enough(pack, 1, "lot")
    if pack.free < 1:
        doubt(given, "held_by_trip", "1", field="lot", held=pack.packs_left - pack.free, free=pack.free)
    return pack


def _one(context: Context, given: OneDish, state: DishState, body: Body) -> Done:
    return done(context, given, [(kinds.STREAM + state.code, body)])
