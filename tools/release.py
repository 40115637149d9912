"""Makes a release: sets its version, gathers the fragments of `changes/` into CHANGELOG.md, takes them away.

python tools/release.py 0.1.0 2026-11-25
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent


def gathered(version: str, day: str) -> str:
    """The section of a release: every fragment under the words of its file name, in the order of time."""
    parts = [f"## {version} ({day})", ""]
    for path in fragments():
        title = path.stem[len("2026-11-25-") :].replace("-", " ").capitalize()
        body = re.sub(r"^#.*\n+", "", path.read_text("utf-8").strip())
        parts += [f"### {title}", "", body, ""]
    return "\n".join(parts)


def fragments() -> list[Path]:
    """The fragments that wait, oldest first."""
    return sorted(p for p in (ROOT / "changes").glob("*.md") if p.name != "README.md")


def main(version: str, day: str) -> None:
    """Write everything."""
    path = ROOT / "CHANGELOG.md"
    before = path.read_text("utf-8").removeprefix("# What has come\n").strip()
    path.write_text(f"# What has come\n\n{gathered(version, day)}\n{before}".rstrip() + "\n", "utf-8")
    for name, line in (
        ("pyproject.toml", r'(?m)^version = ".*"$'),
        ("src/saltfare/__init__.py", r'__version__ = ".*"'),
    ):
        file = ROOT / name
        key = "version" if name.endswith(".toml") else "__version__"
        file.write_text(re.sub(line, f'{key} = "{version}"', file.read_text("utf-8"), count=1), "utf-8")
    for one in fragments():
        one.unlink()


if __name__ == "__main__":
    main(*sys.argv[1:3])
