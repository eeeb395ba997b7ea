"""A page on paper: what stands on each sheet, read back from the PDF."""

from __future__ import annotations

import io
import re
import unicodedata
from dataclasses import dataclass
from typing import Any

from pypdf import PageObject, PdfReader


@dataclass(frozen=True)
class Sheet:
    """One printed page.

    Attributes:
        squeezed: its text without any white space, in the order of the page's source.
        lines: its lines from top to bottom.
    """

    squeezed: str
    lines: list[str]


def squeezed(text: str) -> str:
    """A text without white space, ligatures and the sign that the style sheet puts before a warning."""
    return re.sub(r"[\s\u26a0\ufe0e\u200b]", "", unicodedata.normalize("NFKC", text))


def sheets(pdf: bytes) -> list[Sheet]:
    """The printed pages of a PDF."""
    return [_sheet(page) for page in PdfReader(io.BytesIO(pdf)).pages]


def _sheet(page: PageObject) -> Sheet:
    parts: list[tuple[float, float, str]] = []

    def note(text: str, place: list[float], matrix: list[float], *_: Any) -> None:
        if text.strip():
            x = place[0] * matrix[4] + place[2] * matrix[5] + place[4]
            y = place[1] * matrix[4] + place[3] * matrix[5] + place[5]
            parts.append((y, x, text.strip()))

    text = page.extract_text(visitor_text=note)
    by_line: dict[int, list[tuple[float, str]]] = {}
    for y, x, part in parts:
        by_line.setdefault(round(y), []).append((x, part))
    lines = [" ".join(part for _, part in sorted(by_line[y])) for y in sorted(by_line, reverse=True)]
    return Sheet(squeezed(text), lines)
