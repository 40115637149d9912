"""The buying card: how much green meat for so many packs, and which thickness means which date."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field

from saltfare.actions.context import Context
from saltfare.actions.lessons import taught
from saltfare.actions.piece_drying import horizon_s
from saltfare.actions.shapes import Output, Query, Tracer
from saltfare.core.errors import NotConverged, NotFound, OutOfRange, Problem, Refused
from saltfare.core.fields import Frozen, Measured, Quantity, implausible
from saltfare.core.figure import Figure, Note
from saltfare.core.tables import Row
from saltfare.jobs import key_of, model_version
from saltfare.journal.chamber import chamber
from saltfare.journal.piece import pieces
from saltfare.models.drying import DryingParameters, Hanging, loss_ceiling_frac
from saltfare.models.salting import Salted, salted_composition
from saltfare.models.sorption import ProteinIsotherm
from saltfare.plans.back_plan_belief import multipliers
from saltfare.plans.back_plan_chance import ToHang, hanging_time
from saltfare.plans.back_plan_courses import simulated_in
from saltfare.plans.buying import (
    Band,
    Shares,
    bought_from_finished,
    finished_from_bought,
    loss_to_aw,
    time_in_salt,
)
from saltfare.plans.forecast_air import UsualAir, air_programme
from saltfare.plans.forecast_drying import HangingPiece
from saltfare.plans.forecast_priors import ForecastPriors

_RULES = "buying_rules"
_SALTING = "salting_rules"
_THICKNESSES = ("thin", "middling", "thick", "thickest")
_DAY_S = 86400.0


class BuyingGiven(Query):
    """Packs of a finish. Shares not typed are the trade's bands; salt, air and cold not typed are those of
    the last piece and of its chamber. offered: what the butcher holds out, to see what it gives. dates:
    whether to work out what a thickness means."""

    packs: int = Field(ge=1, le=500)
    pack: Annotated[Measured, Quantity("finished_pack")]
    cut: str = Field(max_length=60)
    purpose: Literal["home_cold", "pot", "carried"]
    shape: Literal["slab", "cylinder"] | None = None
    trim: Annotated[Measured, Quantity("green_trim_share")] | None = None
    end_trim: Annotated[Measured, Quantity("end_trim_share")] | None = None
    target_loss: Annotated[Measured, Quantity("loss_from_hanging")] | None = None
    salt_share: Annotated[Measured, Quantity("salt_share")] | None = None
    salting_temperature: Annotated[Measured, Quantity("salting_temperature")] | None = None
    chamber: str | None = Field(default=None, max_length=60)
    chamber_temperature: Annotated[Measured, Quantity("chamber_temperature")] | None = None
    chamber_humidity: Annotated[Measured, Quantity("chamber_humidity")] | None = None
    offered: Annotated[Measured, Quantity("bought_mass")] | None = None
    wanted_on: date | None = None
    dates: bool = True


class ShareShown(Frozen):
    """One step of the chain: how much goes, and whether the person told it."""

    quantity: str
    figure: Figure
    told: bool


class Offered(Frozen):
    """What the piece held out gives: whole packs, with the fewest and the most."""

    bought_kg: float
    finished: Figure
    packs: int
    packs_low: int
    packs_high: int


class ThicknessShown(Frozen):
    """What a thickness means, were it bought today: into salt today, hung, and at its mass between the
    early and the late end of the 80 % interval; None beyond the horizon. by_wanted_frac: chance that it is
    there on the day wanted."""

    thickness_m: float
    salt_days: int
    hang_on: date
    early: date | None
    likely: date | None
    late: date | None
    by_wanted_frac: float | None


class BuyingShown(Output):
    """The card. enough_kg: what still gives all packs where everything goes against it. thicknesses: empty
    where they were not asked for, or where a note says why there are none."""

    packs: int
    pack_kg: float
    cut: str
    purpose: str
    shape: str
    today: date
    wanted_on: date | None
    finished_kg: float
    buy: Figure
    enough_kg: float
    green: Figure
    shares: tuple[ShareShown, ...]
    offered: Offered | None
    salt_frac: float | None
    salting_c: float
    air_temp_c: float | None
    air_rh_frac: float | None
    thicknesses: tuple[ThicknessShown, ...]
    unusual: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Basis:
    """What the answers rest on besides what was typed."""

    cut: Row
    purpose: Row
    shape: Literal["slab", "cylinder"]
    salt_frac: float | None
    salting_c: float
    air: UsualAir | None
    speed: float
    chamber: str


def buying(context: Context, given: BuyingGiven) -> BuyingShown:
    """How much green weight to buy for so many packs, and which thickness means which date."""
    notes: list[Note] = []
    basis = _basis(context, given, notes)
    made = _composition(context, basis) if basis.salt_frac is not None else None
    tracer = Tracer()
    shares, shown = _shares(context, given, basis, made, tracer)
    kept, finished = shares.kept, given.packs * given.pack.value
    mids = _mids(shares)
    trace = tracer.trace(bought_from_finished, {"finished_kg": finished, **mids})
    buy = tracer.figure(
        finished / kept.mid,
        "mass",
        trace,
        span=(finished / kept.high, finished / kept.low),
        interval="practice_range",
    )
    green = Shares(Band.known(0.0), shares.net_loss, shares.loss, shares.end_trim).kept
    dated: tuple[ThicknessShown, ...] = ()
    if given.dates and made is None:
        notes.append(Note("no_dates_without_salt"))
    elif given.dates and basis.air is None:
        notes.append(Note("no_dates_without_air"))
    elif given.dates and made is not None and basis.air is not None:
        dated = tuple(_dated(context, given, basis, made, shares.loss.mid, notes))
    return BuyingShown(
        packs=given.packs,
        pack_kg=given.pack.value,
        cut=given.cut,
        purpose=given.purpose,
        shape=basis.shape,
        today=context.today,
        wanted_on=given.wanted_on,
        finished_kg=finished,
        buy=buy,
        enough_kg=finished / kept.low,
        green=tracer.figure(
            finished / green.mid,
            "mass",
            trace,
            span=(finished / green.high, finished / green.low),
            interval="practice_range",
        ),
        shares=shown,
        offered=_offered(given, kept, tracer, mids) if given.offered else None,
        salt_frac=basis.salt_frac,
        salting_c=basis.salting_c,
        air_temp_c=basis.air.temp_c if basis.air else None,
        air_rh_frac=basis.air.rh_frac if basis.air else None,
        thicknesses=dated,
        unusual=tuple(problem.field for problem in implausible(given)),
        notes=tuple(notes),
        traces=tracer.traces,
    )


def _basis(context: Context, given: BuyingGiven, notes: list[Note]) -> _Basis:
    library = context.library
    rows = []
    for table, key in (("cuts", given.cut), ("purposes", given.purpose)):
        try:
            rows.append(library.row(table, key))
        except NotFound:
            known = ", ".join(row.text("id") for row in library.rows(table))
            raise Refused(Problem("not_one_of", table.rstrip("s"), key, known)) from None
    cut, purpose = rows
    last = next(iter(reversed(pieces(context.journal))), None)
    salt = given.salt_share.value if given.salt_share else None
    if salt is None and last is not None:
        salt = last.started.salting.salt.value
        notes.append(Note("salt_as_last_piece", {"salt_frac": salt, "name": last.name}))
    if given.salting_temperature is not None:
        cold = given.salting_temperature.value
    elif last is not None:
        cold = last.started.salting.temperature.value
    else:
        cold = library.row(_SALTING, "cold_limit").number("temp_c")
    air, speed = _air(context, given)
    bacon = cut.text("bacon_like") == "yes"
    shape = given.shape or ("slab" if bacon else "cylinder")
    return _Basis(cut, purpose, shape, salt, cold, air, speed, given.chamber or "")


def _air(context: Context, given: BuyingGiven) -> tuple[UsualAir | None, float]:
    """The air typed, else the chamber's usual; None where neither tells."""
    temperature = given.chamber_temperature.value if given.chamber_temperature else None
    humidity = given.chamber_humidity.value if given.chamber_humidity else None
    speed = context.library.row("hanging_rules", "air_speed").number("speed")
    if given.chamber is not None:
        try:
            usual = chamber(context.journal, given.chamber).described
        except NotFound:
            raise Refused(Problem("chamber_unknown", "chamber", given.chamber)) from None
        if usual is not None:
            if temperature is None and usual.temperature:
                temperature = usual.temperature.value
            if humidity is None and usual.humidity:
                humidity = usual.humidity.value
            if usual.air_speed:
                speed = usual.air_speed.value
    if temperature is None or humidity is None:
        return None, speed
    return UsualAir(temperature, humidity), speed


def _composition(context: Context, basis: _Basis, more_water: float = 0.0) -> Salted:
    """The piece at hanging, shares of green weight, of a dose weighed and a usual loss in salt."""
    return salted_composition(
        water_frac=basis.cut.number("water_pct") + more_water,
        fat_frac=basis.cut.number("fat_pct"),
        salt_frac=basis.salt_frac or 0.0,
        sugar_frac=0.0,
        net_loss_frac=context.library.row(_SALTING, "net_loss_in_salt").number("pct"),
    )


def _shares(
    context: Context, given: BuyingGiven, basis: _Basis, made: Salted | None, tracer: Tracer
) -> tuple[Shares, tuple[ShareShown, ...]]:
    library = context.library
    trim, end = library.row(_RULES, "trim"), library.row(_RULES, "end_trim")
    rule = library.row(_SALTING, "net_loss_in_salt")
    loss, rows = _loss(context, given, basis, made)
    chain: tuple[tuple[str, Measured | None, Band, tuple[Row, ...]], ...] = (
        ("green_trim_share", given.trim, _band(trim), (trim,)),
        ("net_loss_in_salt", None, _band(rule), (rule,)),
        ("loss_from_hanging", given.target_loss, loss, rows),
        ("end_trim_share", given.end_trim, _band(end), (end,)),
    )
    bands, shown = [], []
    for quantity, typed, usual, cited in chain:
        band = Band.known(typed.value) if typed else usual
        bands.append(band)
        trace = tracer.trace(
            finished_from_bought if quantity != "loss_from_hanging" or not rows[1:] else loss_to_aw,
            {quantity: band.mid},
            () if typed else cited,
        )
        wide = band.high > band.low
        figure = tracer.figure(
            band.mid,
            "fraction",
            trace,
            span=(band.low, band.high) if wide else None,
            interval="practice_range" if wide else None,
        )
        shown.append(ShareShown(quantity=quantity, figure=figure, told=typed is not None))
    return Shares(*bands), tuple(shown)


def _loss(
    context: Context, given: BuyingGiven, basis: _Basis, made: Salted | None
) -> tuple[Band, tuple[Row, ...]]:
    """Loss from hanging: the cut's usual band, or that to the purpose's water activity with the spread of
    the meat's water. Refused where the air holds it above that."""
    library, cut = context.library, basis.cut
    protein_row = library.row("isotherms", "lean_meat")
    protein = ProteinIsotherm.from_row(protein_row)
    if basis.purpose.text("aims_at") == "usual_loss" or given.target_loss is not None:
        usual = Band(*(cut.number(f"loss_{end}_pct") for end in ("low", "aim", "high")))
        if given.target_loss is not None:
            usual = Band.known(given.target_loss.value)
        _refuse_beyond_ceiling(basis, made, usual.mid, protein)
        return usual, (cut,)
    if made is None:
        raise Refused(Problem("missing", "salt_share"))
    sd, doubt = library.row(_SALTING, "isotherm_sd"), library.row(_SALTING, "isotherm_doubt")
    aw = basis.purpose.number("aw") - doubt.number("count") * sd.number("pct")
    if basis.air is not None and basis.air.rh_frac >= aw:
        params = {"air_frac": basis.air.rh_frac, "aw_frac": aw}
        raise Refused(
            Problem(
                "carried_needs_drier_air", "chamber_humidity", f"{params['air_frac']:g}", f"{aw:g}", params
            )
        )
    spread = library.row(_SALTING, "green_water_spread").number("pct")

    def loss(more_water: float) -> float:
        of = _composition(context, basis, more_water)
        whole = of.mass_frac
        return loss_to_aw(
            aw=aw,
            water_frac=of.water_frac / whole,
            fat_frac=of.fat_frac / whole,
            salt_frac=of.salt_frac / whole,
            protein=protein,
        )

    return Band(loss(-spread), loss(0.0), loss(spread)), (cut, basis.purpose, protein_row, sd, doubt)


def _refuse_beyond_ceiling(basis: _Basis, made: Salted | None, loss: float, protein: ProteinIsotherm) -> None:
    if made is None or basis.air is None:
        return
    whole = made.mass_frac
    most = float(
        loss_ceiling_frac(
            rh_frac=basis.air.rh_frac,
            water_frac=made.water_frac / whole,
            fat_frac=made.fat_frac / whole,
            salt_frac=made.salt_frac / whole,
            protein=protein,
        )
    )
    if loss > most:
        params = {"loss_frac": loss, "ceiling_frac": most, "air_frac": basis.air.rh_frac}
        raise Refused(
            Problem("target_beyond_ceiling", "purpose", f"{loss * 100:.0f} %", f"{most * 100:.0f} %", params)
        )


def _band(row: Row) -> Band:
    return Band(*(row.number(column) for column in ("pct_low", "pct", "pct_high")))


def _mids(shares: Shares) -> dict[str, float]:
    return {
        "trim_frac": shares.trim.mid,
        "net_loss_frac": shares.net_loss.mid,
        "loss_frac": shares.loss.mid,
        "end_trim_frac": shares.end_trim.mid,
    }


def _offered(given: BuyingGiven, kept: Band, tracer: Tracer, mids: dict[str, float]) -> Offered | None:
    if given.offered is None:
        return None
    mass, pack = given.offered.value, given.pack.value
    figure = tracer.figure(
        mass * kept.mid,
        "mass",
        tracer.trace(finished_from_bought, {"bought_kg": mass, **mids}),
        span=(mass * kept.low, mass * kept.high),
        interval="practice_range",
    )
    # a hair over, so that what was worked out backwards gives its packs again
    counts = [int((mass * share) / pack + 1e-9) for share in (kept.low, kept.mid, kept.high)]
    return Offered(
        bought_kg=mass, finished=figure, packs=counts[1], packs_low=counts[0], packs_high=counts[2]
    )


def _dated(
    context: Context,
    given: BuyingGiven,
    basis: _Basis,
    made: Salted,
    loss: float,
    notes: list[Note],
) -> Iterator[ThicknessShown]:
    known = taught(context)
    if known.pieces:
        notes.append(Note("dates_begun_from_others", {"pieces": len(known.pieces)}))
    for name in _THICKNESSES:
        thickness = context.library.row(_RULES, name).number("mm")
        try:
            salt_s = time_in_salt(
                thickness_m=thickness,
                shape=basis.shape,
                salt_frac=basis.salt_frac or 0.0,
                water_frac=basis.cut.number("water_pct"),
                temp_c=basis.salting_c,
                library=context.library,
            )
            hangs = _hangs(context, basis, made, thickness, loss, known)
        except (Refused, OutOfRange, NotConverged) as error:
            notes.append(Note("no_dates_for_this", {"reason": type(error).__name__}))
            return
        days = round(salt_s / _DAY_S)
        hang_on = context.today + timedelta(days=days)
        early, likely, late = (
            None if found is None else hang_on + timedelta(days=int(np.ceil(found / _DAY_S - 1e-9)))
            for found in hangs["ready_s"]
        )
        by = None
        if given.wanted_on is not None:
            left = (given.wanted_on - hang_on).days * _DAY_S
            # before it hangs, and past the last day looked at, the ends are held: it is not there, or as far
            by = 0.0 if left <= 0 else float(np.interp(left, hangs["time_s"], hangs["ready_frac"]))
        yield ThicknessShown(
            thickness_m=thickness,
            salt_days=days,
            hang_on=hang_on,
            early=early,
            likely=likely,
            late=late,
            by_wanted_frac=by,
        )


def _hangs(
    context: Context, basis: _Basis, made: Salted, thickness: float, loss: float, known: Any
) -> dict[str, Any]:
    """How long such a piece hangs, before anything is weighed; kept until something of it changes."""
    library, air = context.library, basis.air
    if air is None:
        raise AssertionError("dates without air were not left out")
    law = library.row("diffusion", "lean_default")
    body, meat = library.row("drying_body", "whole_muscle"), library.row("isotherms", "lean_meat")
    length = library.row(_RULES, "length").number("ratio") * thickness
    slab = basis.shape == "slab"
    whole = made.mass_frac
    priors = ForecastPriors.from_library(library=library)
    # the drying is told per kg of solids: the mass only has to be one a piece can have
    piece = Hanging(
        shape=basis.shape,
        thickness_m=thickness,
        length_m=length,
        width_m=length if slab else 0.0,
        mass_kg=1.0,
        water_frac=made.water_frac / whole,
        fat_frac=made.fat_frac / whole,
        salt_frac=made.salt_frac / whole,
        open_frac=1.0,
        casing_resistance_s_per_m=0.0,
        drying_faces=2,
    )
    given = [repr(piece), repr(air), basis.speed, loss, known.key, basis.chamber, basis.cut.text("id")]
    key = key_of(action="buying", given=given, heads={}, version=model_version(library.version))

    def compute() -> dict[str, Any]:
        horizon = horizon_s(context, 0.0)
        assumed = air_programme(readings=None, usual=air, horizon_s=horizon, priors=priors).assumed
        simulate = HangingPiece(
            piece,
            basis.speed,
            DryingParameters.from_rows(law=law, body=body),
            ProteinIsotherm.from_row(meat),
        )
        made, fan = simulated_in(hang=simulate, air=assumed, horizon_s=horizon, priors=priors)
        # as a plan back has it: nothing of its air is read yet, and that bends
        hung = ToHang(
            name="to buy",
            chamber=basis.chamber,
            ensemble=made,
            fan=fan,
            humidity_sd_frac=assumed.humidity_sd_frac,
            multipliers=multipliers(
                learned=known.learned, piece="to buy", chamber=basis.chamber, cut=basis.cut.text("id")
            ),
            target_loss_frac=loss,
        )
        at = np.sort(hanging_time(piece=hung, priors=priors))
        found = np.quantile(at, (0.1, 0.5, 0.9), method="inverted_cdf")
        return {
            "ready_s": [float(time) if np.isfinite(time) else None for time in found],
            "time_s": [float(time) for time in made.time_s],
            "ready_frac": [
                float(share) for share in np.searchsorted(at, made.time_s, side="right") / at.size
            ],
        }

    kept: dict[str, Any] = context.cache.cached(key, compute)
    return kept
