"""What every chart shares: colours, papers, days on an axis, and the files that a figure becomes.

Meaning is carried by shape, line style, hatch or words; colour only adds to it.
"""

from __future__ import annotations

import io
import re
import textwrap
import unicodedata
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import date, timedelta
from typing import Any, Final, Literal, NamedTuple

import matplotlib
import matplotlib.style
from matplotlib.figure import Figure

from fertadjust.rules.facts import Action

BLACK: Final = "#000000"
BLUE: Final = "#0072B2"
VERMILLION: Final = "#D55E00"
GREEN: Final = "#009E73"
PURPLE: Final = "#CC79A7"
"""Hues of Okabe and Ito that stand out 3:1 from white (OKABE-ITO; WCAG-21, 1.4.11)."""

GREY: Final = "#555555"
PALE_GREEN: Final = "#E3F1EC"
PALE_BLUE: Final = "#D6E6F2"
PALE_GREY: Final = "#EEEEEE"
GRID: Final = "#DDDDDD"
"""Fills and guides that carry nothing by themselves: whatever they mean has an edge, a hatch or words."""

LineStyle = str | tuple[float, tuple[float, ...]]
DASHED: Final[LineStyle] = (0, (5, 2))
DASH_DOT_DOT: Final[LineStyle] = (0, (4, 1.2, 1, 1.2, 1, 1.2))
DASH_DOT: Final[LineStyle] = (0, (6, 2, 1, 2))

SUFFIXES: Final = (".png", ".svg", ".pdf")
SMALL: Final = 9.0
"""Font size of labels [pt]."""

PAPER: Final[Mapping[str, Any]] = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
"""What a label lies on, so that a line below it does not cross its letters."""

_NOT_IN_XML: Final = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that no XML document may hold, for example a bell in a name (XML 1.0, production 2)."""

_UNSEEN: Final = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x84\x86-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
"""Control characters, those for the direction of writing among them (Unicode Standard Annex 9)."""

_WIDE: Final = frozenset("MWmw@%—")
_PAD: Final = "\ue000"

_EM: Final = 0.58
"""Mean width of a letter as a share of the font size, on the wide side."""

_STYLE: Final = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Arial", "Helvetica"],
    "font.size": SMALL,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.titlesize": 10.0,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.8,
    "text.parse_math": False,
    "svg.fonttype": "none",
    "svg.hashsalt": "fertadjust",
}


@contextmanager
def chart_style() -> Iterator[None]:
    """The charts' own settings, whatever the user's are; nothing stays set afterwards.

    Letters that the font lacks, in a block's name, are no matter to warn of: an SVG takes them from another font,
    the other files show a box.
    """
    with matplotlib.style.context(["default", _STYLE]), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from", category=UserWarning)
        yield


class Paper(NamedTuple):
    """The size of a chart and what it leaves beside its panels.

    Attributes:
        width_in, height_in: size [in]; a chart of many blocks takes its own height.
        left_in, right_in: margins that hold the numbers of the axes and the labels of line ends [in].
        dates: how many dates an axis may name.
        small: whether there is no room for words inside the panels, so that titles and margins hold them.
    """

    width_in: float
    height_in: float
    left_in: float
    right_in: float
    dates: int
    small: bool = False

    @property
    def plot_in(self) -> float:
        """Width of a panel [in]."""
        return self.width_in - self.left_in - self.right_in


PAGE: Final = Paper(8.0, 9.5, 0.75, 1.4, 9)
"""For a page or a screen."""

PHONE: Final = Paper(3.6, 10.5, 0.62, 1.0, 3, small=True)
"""For a phone, where the page's one would have to be shrunk until nobody can read it."""


def folded(text: str, width_in: float, size: float = SMALL) -> str:
    """A text in as many lines as it needs to fit a width [in] at a font size [pt]."""
    kept = re.sub(r"(?<=\d) %", "\N{NO-BREAK SPACE}%", text)
    padded = re.sub(r"\S+", lambda word: _padded(word[0]), kept)
    lines = textwrap.wrap(padded, max(4, int(width_in * 72 / (_EM * size))))
    return "\n".join(lines).replace(_PAD, "")


def _padded(word: str) -> str:
    """A word with something to be counted after each of its wide letters: East Asian ones, and M or W in rows."""
    wide = _WIDE if sum(letter in _WIDE for letter in word) > len(word) / 2 else ()
    return "".join(
        letter + _PAD if letter in wide or unicodedata.east_asian_width(letter) in "WF" else letter
        for letter in word
    )


def plain_name(name: str, most: int = 60) -> str:
    """A name as it can stand in a chart: in one line, without what turns the direction of writing, cut if long."""
    text = " ".join(_UNSEEN.sub("", name).split())
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"


class Mark(NamedTuple):
    """A decision to be marked on the chart.

    Attributes:
        on: day of the decision.
        text: a few words, for example "raise 33 %".
        kind: which way it went.
    """

    on: date
    text: str
    kind: Action | Literal["raise", "hold", "cut", "left"]


SIGNS: Final[Mapping[str, str]] = {"raise": "▲", "hold": "■", "cut": "▼", "left": "□"}


class Span(NamedTuple):
    """First and last day of the date axis."""

    start: date
    end: date

    @property
    def days(self) -> list[date]:
        return [self.start + timedelta(days=step) for step in range((self.end - self.start).days + 1)]

    def holds(self, day: date) -> bool:
        return self.start <= day <= self.end


def at(day: date) -> float:
    """A day as a number on the date axis."""
    return float(day.toordinal())


def rendered(figure: Figure, suffix: str) -> bytes:
    """A figure as the bytes of a ".png", ".svg" or ".pdf" file, without the day or the program in it."""
    words = figure.get_label()
    metadata: dict[str, dict[str, Any]] = {
        ".png": {"Software": None, "Description": words},
        ".svg": {"Date": None, "Creator": None, "Format": None, "Type": None, "Title": words},
        ".pdf": {"CreationDate": None, "Creator": None, "Producer": None, "Title": words},
    }
    buffer = io.BytesIO()
    with chart_style():
        figure.savefig(buffer, format=suffix[1:], dpi=150, metadata=metadata[suffix])
    data = buffer.getvalue()
    return _NOT_IN_XML.sub("", data.decode()).encode() if suffix == ".svg" else data
