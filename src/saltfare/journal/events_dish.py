"""What happens to a batch of a dish, from the recipe to its packs. Stream: `dish/CODE`."""

from __future__ import annotations

from datetime import time
from typing import Literal

from pydantic import AwareDatetime, Field

from saltfare.core.fields import Frozen, Measured
from saltfare.journal.events import Body
from saltfare.journal.events_lot import Sealed

STREAM = "dish/"
Conditioning = Literal["in_jar", "shaken", "back_on_trays"]


class RecipeLine(Frozen):
    """One line of a recipe.

    food: id of a usual ingredient, of the food table or of an own food; None where nothing is known of what
    is in it. mass: the amount as typed, in whatever measure, and the mass it is. edible: share of that
    which goes into the pot. cooking: "" as usual for the food, `raw` where nothing is counted, else a row of
    retention or of yields ("yields:r2_001"). kind: how it lies on the tray, "" as usual. size: of the pieces.
    price_minor: for a kilogram as bought.
    """

    name: str = Field(min_length=1, max_length=120)
    food: str | None = Field(default=None, max_length=64)
    mass: Measured
    edible: Measured | None = None
    cooking: str = Field(default="", max_length=60)
    kind: str = Field(default="", max_length=40)
    size: Measured | None = None
    price_minor: int | None = Field(default=None, ge=0)


class BesideLine(RecipeLine):
    """What is carried beside. own: code of the lot or piece whose meat it is, None for a food."""

    own: str | None = Field(default=None, max_length=20)


class TrayChoice(Frozen):
    """The dryer and its trays. kind: what a tray lets the air reach. turned: broken up half-way."""

    trays: int = Field(ge=1, le=1000)
    area: Measured
    length: Measured
    kind: str = Field(max_length=40)
    temperature: Measured
    speed: Measured
    room_temperature: Measured
    room_humidity: Measured
    inside_humidity: Measured | None = None
    power: Measured | None = None
    duty: Measured | None = None
    turned: bool = True


class CampChoice(Frozen):
    """Where and how a pouch is brought back. water: of a cold soak, None for boiling. cup: the own mug."""

    altitude: Measured
    air: Measured
    wind: Measured
    cover: str = Field(max_length=40)
    water: Measured | None = None
    pouch_width: Measured
    pouch_height: Measured
    cup: Measured | None = None


class DishChoice(Frozen):
    """A dish as it is meant: recipe, trays, packs and where it will be eaten.

    servings: the whole batch gives. start: when the trays go in. bed: the clock of going to bed, None where
    the night does not matter. pack_mass: None for equal packs. beside: of each pack, added at camp, as
    eaten. taste: water over what the dish held as cooked. price_minor_per_kwh: of the dryer's energy.
    """

    lines: tuple[RecipeLine, ...] = Field(min_length=1, max_length=40)
    beside: tuple[BesideLine, ...] = Field(default=(), max_length=8)
    servings: int = Field(ge=1, le=500)
    target_water: Measured
    trays: TrayChoice
    start: AwareDatetime
    bed: time | None = None
    packs: int = Field(ge=1, le=500)
    pack_mass: Measured | None = None
    scale_step: Measured
    camp: CampChoice
    taste: float = Field(default=1.0, gt=0.0, le=3.0)
    price_minor_per_kwh: float | None = Field(default=None, ge=0.0)


class PouchSeen(Frozen):
    """What a test pouch showed. dry: the dish in it; water poured; off: poured off again; added: later.

    hard_at, soft_at: time from the pour at which it was seen hard in the middle, and soft.
    """

    where: CampChoice
    dry: Measured
    water: Measured
    off: Measured | None = None
    added: Measured | None = None
    hard_at: Measured | None = None
    soft_at: Measured | None = None
    too_wet: bool = False


class DishPlanned(Body, kind="dish_planned"):
    """A batch was planned. again_of: the batch it is like; taught: what the test pouches of that showed."""

    name: str = Field(min_length=1, max_length=80)
    dish: DishChoice
    again_of: str | None = Field(default=None, max_length=20)
    taught: tuple[PouchSeen, ...] = Field(default=(), max_length=12)


class RecipeChanged(Body, kind="recipe_changed"):
    """Recipe, trays or packs as they are meant from now on."""

    dish: DishChoice


class DishCooked(Body, kind="dish_cooked"):
    """Cooked. mass: without the pot, None where it was not weighed; tare: the pot, already taken off.
    left_behind: on walls and spoons, not in the mass."""

    mass: Measured | None = None
    tare: Measured | None = None
    left_behind: Measured | None = None


class DishCooled(Body, kind="dish_cooled"):
    """Put to cool after cooking, and how; a log of its middle is an event of its own."""

    how: str = Field(default="", max_length=200)


class DishTrayed(Body, kind="dish_trayed"):
    """Spread on the trays, which went in. mass: of the dish on them, None where that was all of it.
    tare: all the empty trays together."""

    mass: Measured | None = None
    tare: Measured | None = None
    trays: int | None = Field(default=None, ge=1, le=1000)


class OnScale(Frozen):
    """A tray, or all of them, on the scale: what it shows, and the mass empty."""

    gross: Measured
    tare: Measured


class TraysWeighed(Body, kind="trays_weighed"):
    """Trays on the scale, each or all together. brittle: whether the thickest piece snapped when cool."""

    each: tuple[OnScale, ...] = Field(min_length=1, max_length=60)
    scale_step: Measured | None = None
    brittle: bool | None = None

    @property
    def gross_kg(self) -> float:
        """All of it with trays."""
        return sum(one.gross.value for one in self.each)

    @property
    def tare_kg(self) -> float:
        """The trays."""
        return sum(one.tare.value for one in self.each)


class SpoonfulDried(Body, kind="spoonful_dried"):
    """A weighed spoonful of the dish, dried until it no longer changed; its dish taken off both."""

    wet: Measured
    dry: Measured
    scale_step: Measured | None = None


class Conditioned(Body, kind="dish_conditioned"):
    """In a closed jar to even out: put in, weighed; shaken; or back on the trays because it was damp.

    damp: it stuck together or misted the glass.
    """

    step: Conditioning
    mass: Measured | None = None
    damp: bool = False


class PouchTried(Body, kind="pouch_tried"):
    """A test pouch of the batch was brought back. lot: whose pack it was, drawn with it."""

    seen: PouchSeen
    lot: str | None = Field(default=None, max_length=20)
    text: str = Field(default="", max_length=2000)


class PackedAs(Frozen):
    """Packs of one size that the batch was put into, as the lot they are."""

    lot: str = Field(max_length=20)
    packs: int = Field(ge=1, le=500)
    mass: Measured
    sealed: Sealed


class DishPacked(Body, kind="dish_packed"):
    """Packed. rest: this was the last of it."""

    portions: tuple[PackedAs, ...] = Field(min_length=1, max_length=12)
    rest: bool = True


class DishDiscarded(Body, kind="dish_discarded"):
    """Thrown out, or what was left of it, and why."""

    why: str = Field(min_length=1, max_length=1000)
