"""Draws the house and the way of a weigh-in through it, for docs/house.md.

    python tools/pictures.py

The arrows of the house are those the imports really make; the counts are of today's modules and lines.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from html import escape
from pathlib import Path

ROOT = Path(__file__).parent.parent
HOUSE = ROOT / "src" / "saltfare"
LAYERS = ("core", "models", "plans", "journal", "actions", "faces")
SAID = {
    "core": "units, figures, tables, sources",
    "models": "pure: floats in, floats out",
    "plans": "pure: models put together",
    "journal": "events, the only disk",
    "actions": "one function a use",
    "faces": "command line, API, pages, paper",
}
PLACE = {  # left, top
    "core": (20, 300),
    "models": (20, 180),
    "plans": (20, 60),
    "journal": (370, 300),
    "actions": (370, 180),
    "faces": (370, 60),
}
WIDE, HIGH = 270, 64
STYLE = (
    "<style>text{font:14px system-ui,sans-serif;fill:#1d1d1b}.s{font-size:12px;fill:#555}"
    "rect{fill:#fff;stroke:#1d1d1b}path{stroke:#1d1d1b;fill:none;marker-end:url(#a)}"
    "@media (prefers-color-scheme:dark){text{fill:#eee}.s{fill:#bbb}rect{fill:#222;stroke:#eee}"
    "path{stroke:#eee}#a path{fill:#eee}}</style>"
)
HEAD = (
    '<defs><marker id="a" viewBox="0 0 10 10" refX="9" refY="5" markerWidth="8" markerHeight="8" '
    'orient="auto-start-reverse"><path d="M0 0 10 5 0 10z" style="marker-end:none"/></marker></defs>'
)


def imports() -> Counter[tuple[str, str]]:
    """(layer, layer it imports from) -> how many imports."""
    found: Counter[tuple[str, str]] = Counter()
    for layer in LAYERS:
        for path in (HOUSE / layer).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                for name in _named(node):
                    parts = name.split(".")
                    if parts[0] == "saltfare" and len(parts) > 1 and parts[1] in LAYERS and parts[1] != layer:
                        found[layer, parts[1]] += 1
    return found


def _named(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom) and node.module:
        if node.module == "saltfare":
            yield from (f"saltfare.{alias.name}" for alias in node.names)
        yield node.module


def house() -> str:
    """The layers and what they lean on."""
    lines = [_svg(660, 390, "The layers of the house and what each imports"), STYLE, HEAD]
    for layer, (left, top) in PLACE.items():
        files = [p for p in (HOUSE / layer).rglob("*.py") if p.name != "__init__.py"]
        count = sum(len(p.read_text("utf-8").splitlines()) for p in files)
        lines += _box(left, top, WIDE, layer, f"{SAID[layer]} · {len(files)} files, {count:,} lines")
    for (one, other), _ in sorted(imports().items()):
        lines.append(_arrow(one, other))
    return "\n".join([*lines, "</svg>", ""])


def _arrow(one: str, other: str) -> str:
    (x1, y1), (x2, y2) = PLACE[one], PLACE[other]
    title = f"<title>{one} imports {other}</title>"
    if x1 == x2:
        near = 40 + 30 * abs(LAYERS.index(one) - LAYERS.index(other))
        if abs(y1 - y2) < 130:
            return f'<path d="M{x1 + WIDE // 2} {y1 + HIGH}V{y2 - 2}">{title}</path>'
        edge = x1 - 4 if x1 < 300 else x1 + WIDE + 4
        out = edge - near // 10 if x1 < 300 else edge + near // 10
        start = edge + 4 if x1 < 300 else edge - 4
        return f'<path d="M{start} {y1 + 30}H{out}V{y2 + 40}H{start}">{title}</path>'
    left_to_right = x1 < x2
    start = x1 + WIDE if left_to_right else x1
    end = x2 - 2 if left_to_right else x2 + WIDE + 2
    return f'<path d="M{start} {y1 + HIGH // 2}L{end} {y2 + HIGH // 2}">{title}</path>'


WAY = (
    ("a face", "a number as typed: “1.155 kg”"),
    ("registry.run", "checked: unit, range, field by field; an unusual one is asked about"),
    ("action weigh_in", "refused, or a body: what was typed and what was understood"),
    ("journal", "one event more, chained by its hash; never rewritten"),
    ("fold", "events to the state of the piece, corrections first"),
    ("plans and models", "figures, each with model, inputs and table rows; kept by key in the cache"),
    ("action piece", "figures, verdicts and notes as codes, with their traces"),
    ("words", "codes to sentences, units as the person reads them"),
    ("a face", "page, sheet, JSON or line"),
)


def way() -> str:
    """What becomes of one weigh-in, from the phone to the page."""
    step, wide = 74, 560
    lines = [_svg(600, len(WAY) * step + 10, "The way of a weigh-in"), STYLE, HEAD]
    for number, (name, said) in enumerate(WAY):
        lines += _box(20, 10 + number * step, wide, name, said, high=50)
        if number:
            lines.append(f'<path d="M300 {10 + number * step - 24}v22"/>')
    return "\n".join([*lines, "</svg>", ""])


def _svg(width: int, height: int, title: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img"><title>{escape(title)}</title>'
    )


def _box(left: int, top: int, wide: int, name: str, said: str, high: int = HIGH) -> list[str]:
    out = [f'<rect x="{left}" y="{top}" width="{wide}" height="{high}" rx="3"/>']
    out.append(f'<text x="{left + 12}" y="{top + 21}"><tspan font-weight="600">{escape(name)}</tspan></text>')
    first, _, second = said.partition(" · ")
    out.append(f'<text class="s" x="{left + 12}" y="{top + 39}">{escape(first)}</text>')
    if second:
        out.append(f'<text class="s" x="{left + 12}" y="{top + 56}">{escape(second)}</text>')
    return out


def main() -> None:
    """Write both."""
    (ROOT / "docs" / "house.svg").write_text(house(), "utf-8")
    (ROOT / "docs" / "way.svg").write_text(way(), "utf-8")


if __name__ == "__main__":
    main()
