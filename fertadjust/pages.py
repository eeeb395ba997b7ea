"""What every HTML page of the program shares: templates that escape what people wrote, and citations."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from fertadjust.shipped import citations

_TEMPLATES: Final = Path(__file__).parent / "data" / "templates"


@cache
def environment() -> Environment:
    """The templates; everything put into them is shown as text."""
    return Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


Drawn = tuple[str, str]
"""A figure as SVG, for a page and for a phone."""


def figures(charts: Sequence[Drawn]) -> list[tuple[Markup, Markup]]:
    """Figures to be put into a page as they are, each from its ``<svg>`` on."""

    def element(svg: str) -> Markup:
        return Markup(svg[max(0, svg.find("<svg")) :])

    return [(element(page), element(phone)) for page, phone in charts]


def cited_in(text: str) -> dict[str, str]:
    """Citations of every source key that stands in a text or in one of those citations, sorted by key."""
    keys = "|".join(re.escape(key) for key in sorted(citations(), key=len, reverse=True))
    pattern = re.compile(rf"(?<![\w-])(?:{keys})(?![\w-])")
    found: set[str] = set()
    new = set(pattern.findall(text))
    while new:
        found |= new
        new = {key for name in new for key in pattern.findall(citations()[name])} - found
    return {key: citations()[key] for key in sorted(found)}
