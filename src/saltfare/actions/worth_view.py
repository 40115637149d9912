"""What a lot is worth: its cost beside bought packs of the shelf, and the band of a fair swap."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.money import Price
from saltfare.actions.pack_content import pack_content
from saltfare.actions.pack_keeping import pack_keeping
from saltfare.actions.pack_worth import PackWorth, pack_worth
from saltfare.actions.pouch_shapes import lot_named
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, MayBeCalled
from saltfare.core.figure import Figure, Note
from saltfare.journal.lot import LotState, lots
from saltfare.models.declared import Presence
from saltfare.models.value import Side, swap, swap_whole_packs

_MOST_PACKS = 12


class WorthGiven(Query):
    """A lot by its code."""

    code: str = Field(max_length=40)


class BesideShown(Frozen):
    """A pack beside it: of a bought product on the shelf, or of the lot itself."""

    code: str
    name: str
    bought: bool
    worth: PackWorth
    mass_kg: float


class WorthShown(Output):
    """The lot's worth, and bought packs of the shelf beside it, the cheapest energy first."""

    code: str
    name: str
    version: int
    worth: PackWorth
    beside: tuple[BesideShown, ...]


def worth(context: Context, given: WorthGiven) -> WorthShown:
    """What a pack cost, by mass, energy and protein, beside the bought packs of the shelf."""
    lot = lot_named(context, given.code)
    own = pack_worth(context, lot)
    seen: set[str] = set()
    beside = []
    for state in lots(context.journal):
        product = state.made.bought
        if state.code == lot.code or state.is_gone or product is None or product in seen:
            continue
        seen.add(product)
        beside.append(
            BesideShown(
                code=state.code,
                name=state.name,
                bought=True,
                worth=pack_worth(context, state),
                mass_kg=state.made.mass.value,
            )
        )
    beside.sort(key=lambda one: _energy_price(one.worth))
    return WorthShown(
        code=lot.code,
        name=lot.name,
        version=lot.version,
        worth=own,
        beside=tuple(beside),
        traces={key: trace for one in (own, *(b.worth for b in beside)) for key, trace in one.traces.items()},
    )


def _energy_price(worth: PackWorth) -> float:
    figure = worth.per_1000_kcal
    return float("inf") if figure is None or figure.value is None else figure.value


class SwapGiven(Query):
    """Packs of one lot for packs of another. cost and elsewhere: of one pack; the cost of a
    lot of ours is taken from its worth where it is not typed. elsewhere: what whoever gets it would pay."""

    code: str = Field(max_length=40)
    packs: int = Field(default=1, ge=1, le=500)
    cost: Price | None = None
    elsewhere: Price | None = None
    other: str | None = Field(default=None, max_length=40)
    other_name: MayBeCalled = ""
    other_home_cured: bool = False
    other_cost: Price | None = None
    other_elsewhere: Price | None = None


class SwapSideShown(Frozen):
    """One side: cost and price elsewhere of a pack, days left until its planning date and share of its
    keeping time left, None where that is not known; whether cured at home is in it."""

    name: str
    cost_minor: float
    cost_from: Literal["typed", "worth"]
    elsewhere_minor: float
    days_left: int | None
    left_frac: float | None
    home_cured: bool
    allergens: tuple[tuple[str, str], ...] | None


class SwapShown(Output):
    """by_cost, by_elsewhere: the two numbers, packs of the other side for what is given, with the band
    between them. least, most: outside them one side would do better not to. whole: packs of mine, of theirs,
    gap. along: what has to be handed over with it."""

    mine: SwapSideShown
    theirs: SwapSideShown
    packs: int
    by_cost: Figure
    by_elsewhere: Figure
    band: Figure
    least: float
    most: float
    equal_gain: Figure
    gain_minor: float
    currency: str
    whole: tuple[tuple[int, int, float], ...]
    along: tuple[str, ...]


def swap_band(context: Context, given: SwapGiven) -> SwapShown:
    """What a fair swap lies between: each side's cost, what each would pay elsewhere, keeping time left."""
    mine_lot = lot_named(context, given.code)
    their_lot = lot_named(context, given.other) if given.other else None
    if their_lot is not None and their_lot.code == mine_lot.code:
        raise Refused(Problem("swap_with_itself", "other", mine_lot.code))
    if given.packs > mine_lot.free:
        params: dict[str, str | float | int] = {"left": mine_lot.free, "name": mine_lot.name}
        raise Refused(Problem("swap_above_lot", "packs", str(given.packs), params=params))
    notes: list[Note] = []
    mine = _side(context, mine_lot, "", given.cost, given.elsewhere, False, "", notes)
    theirs = _side(
        context,
        their_lot,
        given.other_name,
        given.other_cost,
        given.other_elsewhere,
        given.other_home_cured,
        "other_",
        notes,
    )
    found = swap(given_units=float(given.packs), mine=_as_side(mine), theirs=_as_side(theirs))
    tracer = Tracer()
    trace = tracer.trace(
        swap,
        {
            "packs": given.packs,
            "price_paid": mine.cost_minor,
            "price_elsewhere": mine.elsewhere_minor,
            "other_cost": theirs.cost_minor,
            "other_elsewhere": theirs.elsewhere_minor,
            "left_share": mine.left_frac,
            "other_left_share": theirs.left_frac,
        },
    )
    low, high = sorted((found.by_cost, found.by_elsewhere))
    return SwapShown(
        mine=mine,
        theirs=theirs,
        packs=given.packs,
        by_cost=tracer.figure(found.by_cost, "ratio", trace),
        by_elsewhere=tracer.figure(found.by_elsewhere, "ratio", trace),
        band=tracer.figure(0.5 * (low + high), "ratio", trace, span=(low, high), interval="between_the_two"),
        least=found.least,
        most=found.most,
        equal_gain=tracer.figure(found.equal_gain, "ratio", trace),
        gain_minor=found.gain_minor,
        currency=context.settings.currency,
        whole=swap_whole_packs(
            mine_minor=mine.elsewhere_minor * (1.0 if mine.left_frac is None else mine.left_frac),
            theirs_minor=theirs.elsewhere_minor * (1.0 if theirs.left_frac is None else theirs.left_frac),
            most_mine=min(_MOST_PACKS, mine_lot.free),
        ),
        along=found.must_go_along,
        notes=tuple({note.code: note for note in (*notes, *found.notes)}.values()),
        traces=tracer.traces,
    )


def _side(
    context: Context,
    lot: LotState | None,
    name: str,
    cost: int | None,
    elsewhere: int | None,
    home_cured: bool,
    prefix: str,
    notes: list[Note],
) -> SwapSideShown:
    for field, typed in ((f"{prefix}cost", cost), (f"{prefix}elsewhere", elsewhere)):
        if typed is not None and typed <= 0:
            raise Refused(Problem("swap_price_not_positive", field, str(typed)))
    cost_from: Literal["typed", "worth"] = "typed"
    value: float | None = cost
    if value is None and lot is not None:
        made = pack_worth(context, lot)
        value, cost_from = made.cost_minor, "worth"
        if made.missing and value is not None:
            notes.append(Note("worth_at_least"))
    missing = []
    if value is None:
        missing.append(Problem("missing", f"{prefix}cost"))
    if elsewhere is None:
        missing.append(Problem("missing", f"{prefix}elsewhere"))
    if missing or value is None or elsewhere is None:
        raise Refused(*missing)
    days, left = _left(context, lot)
    if left is None:
        notes.append(Note("swap_keeping_not_known"))
    return SwapSideShown(
        name=lot.name if lot else name,
        cost_minor=float(value),
        cost_from=cost_from,
        elsewhere_minor=float(elsewhere),
        days_left=days,
        left_frac=left,
        home_cured=home_cured or (lot is not None and _home_cured(context, lot)),
        allergens=_allergens(context, lot),
    )


def _as_side(side: SwapSideShown) -> Side:
    left = 1.0 if side.left_frac is None else side.left_frac
    return Side(side.cost_minor, side.elsewhere_minor, left, side.home_cured)


def _left(context: Context, lot: LotState | None) -> tuple[int | None, float | None]:
    """Days until the planning date, and the share of the keeping time that is."""
    if lot is None:
        return None, None
    planning = pack_keeping(context, lot).planning_date
    if planning is None:
        return None, None
    days, whole = (planning - context.today).days, (planning - lot.made.packed_on).days
    return days, min(max(days / whole, 0.0), 1.0) if whole > 0 else 0.0


def _home_cured(context: Context, lot: LotState) -> bool:
    """Whether meat cured at home is in it, itself or a part."""
    if lot.made.piece:
        return True
    by_code = {state.code: state for state in lots(context.journal)}
    return any(part.code in by_code and _home_cured(context, by_code[part.code]) for part in lot.made.parts)


def _allergens(context: Context, lot: LotState | None) -> tuple[tuple[str, str], ...] | None:
    """Allergens it contains, or may, by law; None where nobody knows."""
    if lot is None:
        return None
    try:
        found = pack_content(context, lot).allergens
    except (Refused, NotFound, OutOfRange, NotConverged):
        return None
    classes = found.get("eu") or next(iter(found.values()), ())
    return tuple(
        (one.allergen_class, one.presence.value) for one in classes if one.presence is not Presence.NOT_PUT_IN
    )
