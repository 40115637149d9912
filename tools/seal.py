"""Counts a table's rows anew and seals it: `rows` and `sha256` of its sidecar.

    python tools/seal.py films criteria_terms

Run it after you changed a table on purpose. The package refuses a table whose seal does not fit.
"""

from __future__ import annotations

import csv
import re
import sys
from hashlib import sha256
from io import StringIO
from pathlib import Path

DATA = Path(__file__).parent.parent / "src" / "saltfare" / "data"


def seal(name: str) -> str:
    """Write the seal of one table and say what it is."""
    text = (DATA / f"{name}.csv").read_text("utf-8")
    rows = len(list(csv.DictReader(StringIO(text), strict=True)))
    digest = sha256(text.encode()).hexdigest()
    path = DATA / f"{name}.toml"
    sidecar = re.sub(r"(?m)^rows = .*$", f"rows = {rows}", path.read_text("utf-8"), count=1)
    sidecar = re.sub(r"(?m)^sha256 = .*$", f'sha256 = "{digest}"', sidecar, count=1)
    path.write_text(sidecar, "utf-8")
    return f"{name}: {rows} rows, {digest[:12]}"


if __name__ == "__main__":
    for one in sys.argv[1:]:
        print(seal(one))
