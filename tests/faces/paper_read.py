"""Reads a PDF back as a person and a phone would: its text with sizes, its boxes, the codes on its pages."""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from dataclasses import dataclass

import pypdfium2
import pypdfium2.raw as raw
import zxingcpp

MM_PER_PT = 25.4 / 72


@dataclass(frozen=True)
class Char:
    """One character: where it stands (mm, from the lower left) and how large it is set (pt)."""

    text: str
    left: float
    bottom: float
    right: float
    top: float
    size_pt: float


@dataclass(frozen=True)
class Code:
    """One QR code: what it says, how it is protected, its corners in mm without the quiet zone."""

    text: str
    ecc: str
    width_mm: float
    left_mm: float
    top_mm: float


class Paper:
    """A PDF in memory."""

    def __init__(self, content: bytes) -> None:
        self.document = pypdfium2.PdfDocument(content)

    def __len__(self) -> int:
        return len(self.document)

    def size_mm(self, page: int) -> tuple[float, float]:
        """Width and height of a page."""
        width, height = self.document[page].get_size()
        return width * MM_PER_PT, height * MM_PER_PT

    def text(self, page: int | None = None) -> str:
        """The text of a page, or of all; a line that was broken reads as one."""
        pages = range(len(self)) if page is None else (page,)
        got = [self.document[n].get_textpage().get_text_bounded() for n in pages]
        return " ".join(
            " ".join(got).replace("\u0002", "").replace("\ufffe", "").replace("\u200b", "").split()
        )

    def chars(self, page: int) -> Iterator[Char]:
        """Every character that is seen."""
        text = self.document[page].get_textpage()
        for n in range(text.count_chars()):
            char = chr(raw.FPDFText_GetUnicode(text, n))
            if char.isspace() or not char.isprintable():
                continue
            box = [ctypes.c_double() for _ in range(4)]
            raw.FPDFText_GetCharBox(text, n, *(ctypes.byref(b) for b in box))
            left, right, bottom, top = (b.value * MM_PER_PT for b in box)
            yield Char(char, left, bottom, right, top, raw.FPDFText_GetFontSize(text, n))

    def codes(self, page: int, dpi: int = 150) -> list[Code]:
        """The QR codes on the page rasterised at a resolution."""
        image = self.document[page].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze()
        out = []
        for found in zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode):
            at = found.position
            px = 25.4 / dpi
            width = (at.top_right.x - at.top_left.x) * px
            out.append(Code(found.text, found.ec_level, width, at.top_left.x * px, at.top_left.y * px))
        return out
