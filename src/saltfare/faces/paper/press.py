"""The press: a layout and plain data in, a PDF out.

What people typed reaches a layout as JSON alone, never as its source, so it can neither break the page
nor add to it. Only the typesetter's own fonts are used: the page is the same on every machine.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping
from functools import cache, lru_cache
from importlib.resources import files
from io import BytesIO
from typing import Any, Literal

QUIET_MODULES = 4  # on every side of a QR (ISO/IEC 18004)
MODULE_MM = 0.5
LEAST_QR_MM = 18.5
_PPI = 192.0  # twice what a screen has to the inch
# The standard of tagged PDF; it also has the typesetter refuse a character it has no glyph for.
_STANDARD: Literal["ua-1"] = "ua-1"


@cache
def _layout(name: str) -> bytes:
    folder = files("saltfare.faces") / "paper"
    return b"\n".join((folder / f"{part}.typ").read_bytes() for part in ("slip", name))


def printed(layout: str, given: Mapping[str, Any]) -> bytes:
    """The PDF of a layout filled with plain data; every text in it is made printable first."""
    import typst

    made = typst.compile(
        _layout(layout),
        format="pdf",
        ignore_system_fonts=True,
        pdf_standards=_STANDARD,
        sys_inputs={"data": json.dumps(_printable_all(given))},
    )
    if not isinstance(made, bytes):
        raise TypeError("a PDF is one file")
    return made


def drawn(layout: str, given: Mapping[str, Any]) -> bytes:
    """The first page of a layout filled with plain data, as a PNG."""
    import typst

    made: Any = typst.compile(
        _layout(layout),
        format="png",
        ppi=_PPI,
        ignore_system_fonts=True,
        sys_inputs={"data": json.dumps(_printable_all(given))},
    )
    # one page is given as it is, several in a list
    page: bytes = made[0] if isinstance(made, list) else made
    return page


def qr(text: str) -> dict[str, Any]:
    """A QR code as SVG with its quiet zone, and how many mm it takes at the least.

    Error correction H: a tag gets wet, and for a text this short it costs nothing over Q.
    """
    import segno

    made = segno.make(text, error="h", micro=False, boost_error=False)
    out = BytesIO()
    made.save(out, kind="svg", border=QUIET_MODULES, xmldecl=False, svgns=True)
    modules = made.symbol_size(border=QUIET_MODULES)[0]
    return {"svg": out.getvalue().decode(), "mm": max(LEAST_QR_MM, MODULE_MM * modules), "says": text}


def _printable_all(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, Mapping):
        return {key: _printable_all(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_printable_all(one) for one in value]
    return value


@lru_cache(maxsize=512)
def printable(text: str) -> str:
    """The text with what no font here can show told in words, and what would steer the line left out.

    A sign without a glyph is named in brackets; marks that turn the direction of writing, join signs or
    end a line are dropped, so that a name stays in its place and reads as it was written.
    """
    clean = "".join(_steady(char) for char in unicodedata.normalize("NFC", text))
    clean = " ".join(clean.split(" ")).strip()
    if clean.isascii() or _set_in_type(clean):
        return clean
    return "".join(char if char.isascii() or _set_in_type(char) else _named(char) for char in clean)


def _steady(char: str) -> str:
    category = unicodedata.category(char)
    if category in ("Cf", "Co", "Cs", "Cn") or unicodedata.name(char, "").startswith("VARIATION SELECTOR"):
        return ""
    return " " if category in ("Cc", "Zl", "Zp") else char


def _named(char: str) -> str:
    named = unicodedata.name(char, "")
    sign = unicodedata.category(char) in ("So", "Sk", "Sm", "Sc", "Po", "Ps", "Pe")
    return f"[{named.lower()}]" if named and sign else f"[U+{ord(char):04X}]"


@lru_cache(maxsize=4096)
def _set_in_type(text: str) -> bool:
    """Whether the fonts hold every character of it: the strict standard refuses a missing glyph."""
    import typst

    try:
        typst.compile(
            _layout("probe"),
            format="pdf",
            ignore_system_fonts=True,
            pdf_standards=_STANDARD,
            sys_inputs={"data": json.dumps({"text": text})},
        )
    except typst.TypstError as error:
        if "could not be displayed" in str(error):
            return False
        raise
    return True
