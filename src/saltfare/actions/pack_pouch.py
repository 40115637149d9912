"""The pouch a lot is closed in, as the models take it; what nobody said is taken and named."""

from __future__ import annotations

from dataclasses import dataclass

from saltfare.actions.context import Context
from saltfare.core.errors import NotFound, Problem, Refused
from saltfare.core.tables import Row
from saltfare.journal.events_lot import LotMade, Sealed
from saltfare.journal.pouch import films as own_films
from saltfare.models.pouch import Film, Pouch, Sheet, film_of, permeance_from_transmission

RULES = "keeping_rules"
# What is taken where nobody said: the thinner of two usual bags, and for packs without oxygen the usual one.
GENERIC: dict[Sealed, str] = {"open": "pe_50", "air": "pe_50", "no_oxygen": "pa_pe_90"}
# Heats by which an own film is moved with temperature: those of polyethylene, whose maker printed none.
_LIKE = ("film_polymers", "ldpe")
_DAY_S, _ATMOSPHERE_PA = 86400.0, 101325.0


@dataclass(frozen=True, slots=True)
class Closed:
    """A pouch as it is taken. film: id; assumed: what nobody said, and what was taken for it."""

    pouch: Pouch
    film: str
    absorber_m3: float | None
    desiccant_kg: float | None
    rows: tuple[Row, ...]
    assumed: tuple[tuple[str, str], ...]


def film_named(context: Context, name: str, *, field: str = "film") -> tuple[Film, tuple[Row, ...]]:
    """A film of the library or an own one. Raises Refused for one that is neither."""
    try:
        return film_of(library=context.library, film_id=name), (context.library.row("films", name),)
    except NotFound:
        pass
    own = own_films(context.journal)
    kept = own.get(name.removeprefix("own:"))
    if kept is None:
        known = [row.text("id") for row in context.library.rows("films")] + [f"own:{key}" for key in own]
        raise Refused(Problem("film_unknown", field, name, ", ".join(known)))
    body, heats = kept.body, context.library.row(*_LIKE)
    vapour = float(
        permeance_from_transmission(
            rate_kg_per_m2_s=1e-3 * body.vapour.value / _DAY_S,
            temp_c=body.vapour_temperature.value,
            rh_frac=body.vapour_humidity.value,
        )
    )
    oxygen = 1e-6 * body.oxygen.value / _DAY_S / _ATMOSPHERE_PA
    sheet = Sheet(
        (vapour, vapour, vapour),
        (oxygen, oxygen, oxygen),
        heats.number("vapour_heat"),
        heats.number("oxygen_heat"),
        1.0,
        1.0,
    )
    return Film((sheet,), body.takes_boiling_water), (heats,)


def closed(context: Context, made: LotMade) -> Closed:
    """The pouch of a lot, with what nobody said taken and named."""
    rule = context.library.row
    told, assumed = made.pouch, []
    film_id = told.film if told and told.film else ""
    if film_id:
        try:
            film, rows = film_named(context, film_id)
        except Refused:
            assumed.append(("film", GENERIC[made.sealed]))
            film_id = GENERIC[made.sealed]
            film, rows = film_named(context, film_id)
    else:
        film_id = GENERIC[made.sealed]
        assumed.append(("film", film_id))
        film, rows = film_named(context, film_id)
    width = told.width.value if told and told.width else rule(RULES, "pouch_not_told").number("length")
    height = (
        told.height.value if told and told.height else rule(RULES, "pouch_not_told_height").number("length")
    )
    if told is None or told.width is None or told.height is None:
        assumed.append(("pouch_size", f"{width * 1000:.0f} x {height * 1000:.0f} mm"))
    return Closed(
        pouch=Pouch(
            width_m=width,
            height_m=height,
            seal_m=0.0,
            film=film,
            stands=told.stands if told else None,
            volume_m3=told.volume.value if told and told.volume else None,
        ),
        film=film_id,
        absorber_m3=told.absorber.value if told and told.absorber else None,
        desiccant_kg=told.desiccant.value if told and told.desiccant else None,
        rows=rows,
        assumed=tuple(assumed),
    )
