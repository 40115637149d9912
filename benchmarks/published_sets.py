"""What was published of hanging and dry-ageing meat, what is missing in it, and what the model says.

Run: python benchmarks/published_sets.py
One parameter set for all. Sets marked `fitted` were used in choosing it; nothing here is asserted.
"""

from __future__ import annotations

from saltfare.core.library import Library
from saltfare.models.drying import Body, DiffusionLaw, loss_cylinder_constant_air, loss_slab_constant_air
from saltfare.models.drying_piece import aw_at_mass, loss_ceiling_frac
from saltfare.models.sorption import ProteinIsotherm

LIBRARY = Library()
LAW = DiffusionLaw.from_row(LIBRARY.row("diffusion", "lean_default"))
BODY = Body.from_row(LIBRARY.row("drying_body", "whole_muscle"))
LEAN = ProteinIsotherm.from_row(LIBRARY.row("isotherms", "lean_meat"))
BEEF, RAW = (0.725, 0.025, 0.027), (0.72, 0.05, 0.0)
BELLY, LEAN_BELLY, FAT_BELLY = (0.48, 0.36, 0.024), (0.56, 0.26, 0.025), (0.37, 0.50, 0.021)


def cylinder(days: float, size: tuple[float, float], made_of: tuple[float, float, float],
             air: tuple[float, float, float], share: float = 1.0, casing: float = 0.0) -> float:  # fmt: skip
    """Loss, per cent."""
    return 100 * loss_cylinder_constant_air(
        diameter_m=size[0],
        length_m=size[1],
        water_frac=made_of[0],
        fat_frac=made_of[1],
        salt_frac=made_of[2],
        open_frac=share,
        casing_resistance_s_per_m=casing,
        temp_c=air[0],
        rh_frac=air[1],
        speed_m_per_s=air[2],
        time_s=days * 86400.0,
        law=LAW,
        body=BODY,
        protein=LEAN,
    )


def slab(days: float, size: tuple[float, float, float], faces: int, made_of: tuple[float, float, float],
         air: tuple[float, float, float], edges: float = 1.0, casing: float = 0.0) -> float:  # fmt: skip
    """Loss, per cent."""
    return 100 * loss_slab_constant_air(
        thickness_m=size[0],
        length_m=size[1],
        width_m=size[2],
        drying_faces=faces,
        water_frac=made_of[0],
        fat_frac=made_of[1],
        salt_frac=made_of[2],
        open_frac=1.0,
        end_open_frac=edges,
        casing_resistance_s_per_m=casing,
        temp_c=air[0],
        rh_frac=air[1],
        speed_m_per_s=air[2],
        time_s=days * 86400.0,
        law=LAW,
        body=BODY,
        protein=LEAN,
    )


def moisture(loss: float, water: float) -> float:
    """Water in the piece after a loss, per cent."""
    return 100 * (water - loss / 100) / (1 - loss / 100)


def line(name: str, told: str, missing: str, *figures: float) -> None:
    """One set."""
    said = "  ".join(f"{figure:.1f}" for figure in figures) or "see there"
    print(f"{name}\n  published: {told}\n  missing:   {missing}\n  model:     {said}")


def main() -> None:
    """Print every set."""
    activity = []
    for salt in (0.027, 0.035, 0.045):
        made_of = (0.725, 0.025, salt)
        lost = cylinder(35, (0.11, 0.3), made_of, (13.63, 0.68, 0.1), casing=100.0) / 100
        activity.append(
            1000
            * float(
                aw_at_mass(
                    mass_kg=1 - lost,
                    hanging_kg=1.0,
                    water_frac=0.725,
                    fat_frac=0.025,
                    salt_frac=salt,
                    protein=LEAN,
                )
            )
        )
    line(
        "V1 beef semitendinosus in beef casing, 13.6 C, 68 %, 35 d",
        "activity below 0.92 at the end",
        "salt, speed, weekly curve; thousandths of activity, 2.7, 3.5, 4.5 % salt",
        *activity,
    )
    strip = (0.065, 0.35, 0.2)
    line(
        "V2 beef strip loin, dry-aged (fitted), 14 21 28 35 d",
        "8.2  9.5  11.2  11.9",
        "air, size, cover",
        *(slab(d, strip, 1, RAW, (1.0, 0.80, 0.5), 0.3) for d in (14, 21, 28, 35)),
    )
    line(
        "V3 strip loin 2 C, 50 70 85 %: 3 d, then 42 d",
        "drier air faster for three days; totals alike",
        "figures, size, speed",
        *(slab(d, strip, 1, RAW, (2.0, h, 0.5), 0.3) for d in (3, 42) for h in (0.5, 0.7, 0.85)),
    )
    line(
        "V4 ham from salted 14.4 kg",
        "30 (to 10.1 kg)",
        "air, time, shape: half open, 15 C, 72 %, 200 d taken",
        cylinder(200, (0.22, 0.4), (0.68, 0.12, 0.03), (15.0, 0.72, 0.1), 0.5),
    )
    lean = (0.713, 0.03, 0.03)
    line(
        "V5, B2 dry-cured belly lean, water after 6 and 12 d",
        "57.2  41.6",
        "thickness; 2 cm, then 1.2 cm taken",
        *(
            moisture(slab(d, (t, 0.3, 0.2), 2, lean, (17.0, 0.82, 0.3)), 0.713)
            for t in (0.02, 0.012)
            for d in (6, 12)
        ),
    )
    line(
        "V6 flat belly, 63 to 80 d, one face, both faces",
        "24.3 to 42.7 from green",
        "thickness, air, loss in salt",
        *(slab(70, (0.05, 0.4, 0.25), f, (0.45, 0.38, 0.03), (12.0, 0.75, 0.2)) for f in (1, 2)),
    )
    line(
        "V7 tenderloin (fitted) 14 d; loins 21 d open, half open",
        "35; about 21  21",
        "temperature, cover; a log",
        cylinder(14, (0.05, 0.25), BEEF, (13.0, 0.75, 0.1)),
        *(cylinder(21, (d, 0.25), BEEF, (13.0, 0.75, 0.1), s) for s in (1.0, 0.5) for d in (0.075, 0.08)),
    )
    ceiling = 100 * float(
        loss_ceiling_frac(rh_frac=0.73, water_frac=0.37, fat_frac=0.50, salt_frac=0.021, protein=LEAN)
    )
    line(
        "V8 flat fat belly, skin on, 14 C, 73 %, 120 d; its ceiling",
        "22, stalled",
        "size; a log",
        slab(120, (0.045, 0.4, 0.25), 1, FAT_BELLY, (14.0, 0.73, 0.1)),
        ceiling,
    )
    line(
        "V10 thin strips in open air, 3 and 4 d",
        "60 to 70",
        "temperature, thickness; 28 C, 8 mm, unsalted taken",
        *(slab(d, (0.008, 0.2, 0.03), 2, (0.75, 0.01, 0.0), (28.0, 0.30, 0.5)) for d in (3, 4)),
    )
    line("V11 diffusivity against fat: see data/checks/palumbo_1977", "0.825 and 0.982", "lean's water")
    line(
        "B3 pork loin 2 C, 70 %, 0.8 m/s, 21 d; open 0.5, 0.6, 0.7",
        "16.1",
        "section, cover",
        *(cylinder(21, (0.11, 0.25), RAW, (2.0, 0.70, 0.8), s) for s in (0.5, 0.6, 0.7)),
    )
    line(
        "B7 strip loin eighths in a bag that lets vapour through, 2 C, 85 %, 42 d",
        "19.2",
        "size, bag's resistance (350 s/m taken); one face, both",
        *(slab(42, (0.065, 0.3, 0.2), f, RAW, (2.0, 0.85, 0.5), casing=350.0) for f in (1, 2)),
    )
    line(
        "Beef round 10 cm (fitted), 35 45 56 d",
        "35 to 40 in 35 to 56 d",
        "common practice",
        *(cylinder(d, (0.10, 0.25), BEEF, (13.0, 0.75, 0.1)) for d in (35, 45, 56)),
    )
    line(
        "Rolled belly 8 cm 14 and 21 d; lean 7 cm 21 d",
        "25 to 33 in 14 to 21 d",
        "common practice; a known miss",
        *(cylinder(d, (0.08, 0.3), BELLY, (13.0, 0.75, 0.1)) for d in (14, 21)),
        cylinder(21, (0.07, 0.3), LEAN_BELLY, (13.0, 0.75, 0.1)),
    )


if __name__ == "__main__":
    main()
