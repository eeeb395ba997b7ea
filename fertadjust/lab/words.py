"""The trade's words: what a header, an analyte, a unit, a tissue or a basis on a laboratory's report means.

Spelling is loose: case, underscores, dots and blanks do not matter, and an analyte's header may carry its unit,
tissue and basis in any order ("Petiole NO3-N [ppm]", "Leaf N (%)", "K_pct"). What is not in the lists of
`fertadjust.lab.vocabulary` is not guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

from fertadjust.lab.vocabulary import (
    ANALYTE_NAMES,
    ANALYTE_OF,
    DRY_WORDS,
    FILLERS,
    JOINED,
    LEAF_WORDS,
    LEFT_OUT,
    NITRATE,
    NITRATE_WORDS,
    PETIOLE_WORDS,
    RANKS,
    ROLES,
    UNITS,
    UNUSED_ANALYTES,
    VAGUE_DATES,
    Role,
)

_LONGEST: Final = 200
"""Letters of the longest text that is looked up; no trade word is near that."""

_BRACKETS: Final = re.compile(r"[(\[{]([^()\[\]{}]*)[)\]}]")
_TOKENS: Final = re.compile(r"%|[^\s%]+")
_RATIO: Final = re.compile(r"^[a-z]{1,2}\s*[:/]\s*[a-z]{1,2}(\s+ratio)?$")
_DATE_FORM: Final = re.compile(r"^[dmy]{1,4}[-/. ][dmy]{1,4}[-/. ][dmy]{1,4}$")
_LEAF_PETIOLE: Final = re.compile(
    r"(?:(?!\b(?:petiole|leaf|leaves|blade|leaflet)s?\b)[^,;:])*"
    r"\b(?:(?:leaf|leaves) petioles?|petioles?(?: sap)? (?:of|from)"
    r"(?: (?!(?:petiole|leaf|leaves|blade|leaflet)s?\b)[\w-]+){0,6} (?:leaf|leaves))"
    r"(?:[\s,()\[\]-]+(?:sap|dry|dried|weight|matter|basis|tissue|samples?|only|fresh))*[\s)\]]*"
)
"""The plain ways to say "petiole" with the word leaf."""
_DRY_END: Final = re.compile(r"[\s,(]+(dry([\s-](weight|matter|basis|wt|mass))?|dw|dm|d\.?w\.?|d\.?m\.?)\)?$")


@dataclass(frozen=True, slots=True)
class Column:
    """What a header says.

    Attributes:
        role: what stands in the column.
        analyte: the analyte that a value, unit, limit or qualifier belongs to; `vocabulary.NITRATE` while it is
            open whether NO3 or NO3-N is meant; "" when the header names none.
        unit: unit in the header, as `unit_of` spells it, or "".
        tissue: "petiole", "leaf" or "".
        basis: "dry", "sap" or "".
    """

    role: Role
    analyte: str = ""
    unit: str = ""
    tissue: str = ""
    basis: str = ""


def loose(text: str) -> str:
    """A header or word as it is compared and kept: lower case, single blanks, no underscores, dots or end colon.

    >>> loose(" Sample_ID.: ")
    'sample id'
    """
    plain = unicodedata.normalize("NFKC", text).lower().replace("_", " ").replace(".", " ")
    return " ".join(plain.split()).rstrip(" :")


def squeeze(text: str) -> str:
    """Letters, digits, "#" and "%" of a text only, in lower case."""
    return re.sub(r"[^\w#%]|_", "", unicodedata.normalize("NFKC", text).lower())


@lru_cache(maxsize=4096)
def unit_of(text: str) -> str | None:
    """A unit's one spelling: ppm, mg/kg, g/kg, %, mg/L, g/L or mmol/L; None for anything else.

    >>> unit_of("[PPM]"), unit_of("mg per L"), unit_of("mg/kg dry weight")
    ('ppm', 'mg/L', 'mg/kg')
    """
    if len(text) > _LONGEST:
        return None
    plain = unicodedata.normalize("NFKC", text).lower().strip().strip("[](){} ")
    plain = _DRY_END.sub("", plain).replace(" per ", "/").replace("−", "-")
    return UNITS.get(re.sub(r"[\s_·*]", "", plain))


@lru_cache(maxsize=4096)
def tissue_of(text: str) -> Literal["petiole", "leaf"] | None:
    """The tissue that a cell or title names; None when it names none, or a mixture."""
    if len(text) > _LONGEST:
        return None
    plain = loose(text)
    words = set(re.findall(r"[a-z/+&]+", plain))
    petiole, leaf = bool(words & PETIOLE_WORDS), bool(words & LEAF_WORDS)
    if petiole and leaf:
        return "petiole" if _is_leaf_petiole(plain) else None
    if petiole:
        return None if words & LEFT_OUT else "petiole"
    return "leaf" if leaf and "sap" not in words else None


def _is_leaf_petiole(plain: str) -> bool:
    """Whether a text with words of both tissues is of petioles alone: "leaf petioles", "petiole of young leaf"."""
    words = set(re.findall(r"[a-z/+&]+", plain))
    if words & (LEFT_OUT | JOINED | {"no"}) or "/" in plain:
        return False
    return _LEAF_PETIOLE.fullmatch(plain) is not None


@lru_cache(maxsize=4096)
def basis_of(text: str) -> Literal["dry", "sap"] | None:
    """The basis that a cell or title names: dry weight, or fresh sap."""
    if len(text) > _LONGEST:
        return None
    words = re.findall(r"[a-z]+", loose(text))
    dry = bool(DRY_WORDS & set(words)) or "".join(words) in DRY_WORDS
    sap = "sap" in words
    if dry == sap:
        return None
    return "dry" if dry else "sap"


def analyte_of(text: str) -> str | None:
    """An analyte's one name: NO3-N, NO3, N, P ...; None for what is unknown, unused or ambiguous.

    >>> analyte_of("Nitrate nitrogen"), analyte_of("nitrate as NO3"), analyte_of("Total N")
    ('NO3-N', 'NO3', 'N')
    """
    found = column_of(text)
    if found is None or found.role is not Role.VALUE or found.analyte == NITRATE:
        return None
    return found.analyte or None


@lru_cache(maxsize=4096)
def column_of(header: str) -> Column | None:
    """What a header means, or None when it is not recognised.

    >>> column_of("Petiole NO3-N [ppm]")
    Column(role=<Role.VALUE: 'value'>, analyte='NO3-N', unit='ppm', tissue='petiole', basis='')
    """
    if len(header) > _LONGEST:
        return None
    plain = loose(header)
    squeezed = squeeze(plain)
    if squeezed in ROLES:
        return Column(ROLES[squeezed])
    if squeezed in UNUSED_ANALYTES or (_RATIO.match(plain) and unit_of(plain) is None):
        return Column(Role.IGNORE)
    if RANKS & set(re.findall(r"[a-z]+", plain)):
        return Column(Role.IGNORE)
    peeled = _peel(plain)
    return _recognise(peeled)


def told_column(header: str, answer: str) -> Column | None:
    """A column whose meaning was told: a role's value, "ignore" or an analyte; unit and tissue as in the header.

    None when the answer is none of these.
    """
    peeled = _peel(loose(header[:_LONGEST]))
    if answer in ANALYTE_NAMES:
        return Column(Role.VALUE, answer, peeled.unit, peeled.tissue, peeled.basis)
    if answer not in tuple(Role):
        return None
    role = Role(answer)
    if role is Role.VALUE:
        return Column(role, "", peeled.unit, peeled.tissue, peeled.basis)
    return Column(role, unit=peeled.unit if role is Role.LIMIT else "")


@lru_cache(maxsize=4096)
def vague_date(header: str) -> bool:
    """Whether a header says "Date" and no more: of sampling, receipt or printing."""
    peeled = _peel(loose(header[:_LONGEST]))
    return not peeled.inside and squeeze(" ".join(peeled.words)) in VAGUE_DATES


@lru_cache(maxsize=4096)
def unused_analyte(header: str) -> bool:
    """Whether a header names an analyte that the program has no use for."""
    if len(header) > _LONGEST or column_of(header) != Column(Role.IGNORE):
        return False
    peeled = _peel(loose(header))
    bare = [word for word in peeled.words if word not in FILLERS]
    return _analyte(squeeze(" ".join(bare)), squeeze(" ".join(peeled.inside))) == Role.IGNORE


@dataclass(frozen=True, slots=True)
class _Peeled:
    """A header without its unit, tissue and basis.

    Attributes:
        words: what is left outside brackets.
        inside: what is left in brackets.
    """

    words: tuple[str, ...]
    inside: tuple[str, ...]
    unit: str
    tissue: str
    basis: str


def _peel(plain: str) -> _Peeled:
    unit = tissue = basis = ""
    inside = []
    for content in _BRACKETS.findall(plain):
        found = unit_of(content)
        if found:
            unit = found
            basis = basis_of(content) or basis
        elif tissue_of(content) or basis_of(content):
            tissue, basis = tissue_of(content) or tissue, basis_of(content) or basis
        elif not _DATE_FORM.match(content.strip()):
            inside.append(content.strip())
    outer, comma, last = _BRACKETS.sub(" ", plain).strip(" ,:;-").rpartition(",")
    if comma and unit_of(last):
        unit, basis = unit_of(last) or "", basis_of(last) or basis
    else:
        outer = f"{outer} {last}"
    words = _TOKENS.findall(outer.replace(",", " "))
    if not unit:
        unit, words = _end_unit(words)
    if squeeze("".join(words)) not in UNUSED_ANALYTES:
        tissue, basis, words = _tissue_words(words, tissue, basis)
    return _Peeled(tuple(words), tuple(inside), unit, tissue, basis)


def _end_unit(words: list[str]) -> tuple[str, list[str]]:
    """A unit at the end of a header, or at its beginning, and the words without it."""
    for count in (3, 2, 1):
        if len(words) > count and (found := unit_of(" ".join(words[-count:]))):
            return found, words[:-count]
    for count in (2, 1):
        if len(words) > count and (found := unit_of(" ".join(words[:count]))):
            return found, words[count:]
    return "", words


def _tissue_words(words: list[str], tissue: str, basis: str) -> tuple[str, str, list[str]]:
    rest = []
    both = [at for at, word in enumerate(words) if word == "sap" or word in PETIOLE_WORDS | LEAF_WORDS]
    named = " ".join(words[both[0] : both[-1] + 1]) if both else ""
    unclear = LEAF_WORDS & set(words) and len(both) > 1 and tissue_of(named) is None
    for word in words:
        if word == "sap":
            basis = "sap"
        elif word in PETIOLE_WORDS:
            tissue = "petiole"
        elif word in LEAF_WORDS:
            tissue = tissue or "leaf"
        elif word in DRY_WORDS:
            basis = "dry"
        elif not (basis == "dry" and word in ("weight", "matter", "basis", "wt")):
            rest.append(word)
    return "" if unclear else tissue, basis, rest


def _recognise(peeled: _Peeled) -> Column | None:
    bare = [word for word in peeled.words if word not in FILLERS]
    analyte = _analyte(squeeze(" ".join(bare)), squeeze(" ".join(peeled.inside)))
    if analyte == Role.IGNORE:
        return Column(Role.IGNORE)
    if analyte:
        return Column(Role.VALUE, analyte, peeled.unit, peeled.tissue, peeled.basis)
    role = ROLES.get(squeeze(" ".join(peeled.words)))
    if role is not None and not peeled.inside:
        if role in (Role.VALUE, Role.LIMIT):
            return Column(role, "", peeled.unit, peeled.tissue, peeled.basis)
        return Column(role)
    return _companion(bare, peeled.unit)


def _analyte(outside: str, inside: str) -> str:
    """The analyte of a header's words outside and inside brackets; "ignore" for one that is not used."""
    whole = outside + inside
    if whole in UNUSED_ANALYTES or (outside in UNUSED_ANALYTES and inside in ("", *UNUSED_ANALYTES)):
        return Role.IGNORE
    if whole in ANALYTE_OF:
        return ANALYTE_OF[whole]
    if whole in NITRATE_WORDS:
        return NITRATE
    if outside in NITRATE_WORDS and ANALYTE_OF.get(inside) in ("NO3-N", "NO3"):
        return ANALYTE_OF[inside]
    if outside in ANALYTE_OF and (inside in NITRATE_WORDS or ANALYTE_OF.get(inside) == ANALYTE_OF[outside]):
        return ANALYTE_OF[outside] if ANALYTE_OF[outside] in ("NO3-N", "NO3") or inside in ANALYTE_OF else ""
    return ""


def _companion(words: list[str], unit: str) -> Column | None:
    """A unit, limit or qualifier column of one analyte: "NO3-N unit", "NO3-N MDL"."""
    for count in (2, 1):
        role = ROLES.get(squeeze(" ".join(words[-count:]))) if len(words) > count else None
        if role in (Role.UNIT, Role.LIMIT, Role.QUALIFIER):
            analyte = ANALYTE_OF.get(squeeze(" ".join(words[:-count])))
            return Column(role, analyte, unit if role is Role.LIMIT else "") if analyte else None
    return None
