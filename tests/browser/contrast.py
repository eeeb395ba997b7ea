"""Contrast of text with what lies behind it, by WCAG 2.2.

Success criterion 1.4.3, Contrast (Minimum): 4.5:1, and 3:1 for large text, which is at least 18 point (24 CSS
pixels) or at least 14 point (18.66 CSS pixels) and bold. https://www.w3.org/TR/WCAG22/#contrast-minimum
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

Colour = Sequence[float]


def luminance(colour: Colour) -> float:
    """Relative luminance of an sRGB colour: 0.2126 R + 0.7152 G + 0.0722 B of the linear parts.

    https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
    """
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in colour[:3]
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one: Colour, other: Colour) -> float:
    """Contrast ratio: (L1 + 0.05) / (L2 + 0.05), L1 the lighter. https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio"""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def over(top: Colour, below: Colour) -> tuple[float, float, float]:
    """A colour with its opacity in front of an opaque one."""
    red, green, blue = (top[3] * a + (1 - top[3]) * b for a, b in zip(top[:3], below[:3], strict=True))
    return red, green, blue


def needed(size: float, weight: int) -> float:
    """The least ratio for a text of a size in CSS pixels and a weight."""
    return 3.0 if size >= 24 or (size >= 18.66 and weight >= 700) else 4.5


def too_faint(texts: list[dict[str, Any]]) -> list[str]:
    """Texts below their ratio, or whose background cannot be told.

    Args:
        texts: as looking.js gives them; layers behind a text are nearest first, the last one opaque.
    """
    found = []
    for text in texts:
        least = needed(text["size"], text["weight"])
        for layers in text["behind"]:
            if layers is None:
                found.append(f"background not known: {text['name']}")
                continue
            behind: Colour = layers[-1]
            for layer in reversed(layers[:-1]):
                behind = over(layer, behind)
            got = ratio(over(text["colour"], behind), behind)
            if got < least:
                found.append(f"{got:.2f}:1 where {least:g}:1 is needed: {text['name']}")
    return found
