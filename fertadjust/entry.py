"""From what a person types to a checked result, application or observation.

Each reader takes text by field name and answers with the object and the questions it raises, or with every
fault at once. Prompts, options and CSV rows all come through here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final, TypeVar

from fertadjust.dates import day
from fertadjust.errors import Fault, OutOfSeason, UserError
from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.products import nitrogen_in
from fertadjust.season import BlockSeason
from fertadjust.season_file import SeasonFile
from fertadjust.tissue import (
    MAIN_ANALYTE,
    Basis,
    Method,
    Tissue,
    TissueResult,
    canonical_analyte,
    implausible,
    parse_value,
    stored_unit,
    to_stored,
)
from fertadjust.units import UnitSystem

RESULT_FIELDS: Final = (
    "block",
    "sampled",
    "received",
    "tissue",
    "basis",
    "analyte",
    "value",
    "unit",
    "petioles",
    "method",
    "laboratory",
    "sample_id",
    "note",
)
"""Fields of a result as people give them; block, sampled and value must be given."""

_BEFORE_PLAN = timedelta(days=120)
_AFTER_PLAN = timedelta(days=60)
_MANY_WEEKS = 2.0
"""An application of more than this many weeks at the ceiling is asked about."""

Word = TypeVar("Word", bound=StrEnum)
Item = TypeVar("Item")


@dataclass(frozen=True, slots=True)
class Entered:
    """A checked result and what a careful person would ask about it."""

    result: TissueResult
    questions: tuple[str, ...]


class _Faults:
    """Collects faults of several fields, so that all are told at once."""

    def __init__(self) -> None:
        self.found: list[Fault] = []

    def add(self, key: str, message: str) -> None:
        self.found.append(Fault(message, key=key))

    def take(self, key: str, read: Callable[[], Item]) -> Item | None:
        try:
            return read()
        except UserError as error:
            self.found += [Fault(fault.message, key=fault.key or key) for fault in error.faults]
            return None

    def settle(self) -> None:
        if self.found:
            raise UserError(self.found)


def read_date(text: str, key: str) -> date:
    """A date as year-month-day.

    Raises:
        UserError: it is not one.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise UserError(Fault(f'"{text}" is not a date; write 2026-03-09', key=key)) from None


def read_word(text: str, words: type[Word], key: str) -> Word:
    """One of a fixed set of words; case, hyphens and underscores do not matter.

    Raises:
        UserError: another word; names those accepted.
    """
    plain = _loose(text)
    for word in words:
        if _loose(word.value) == plain:
            return word
    raise UserError(Fault(f'"{text}" should be one of {", ".join(word.value for word in words)}', key=key))


def _loose(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").replace("-", " ").split())


def block_of(season: SeasonFile, key: str) -> BlockSeason:
    """A block by its key, or by its name.

    Raises:
        UserError: there is none; names those there are.
    """
    wanted = key.strip().lower()
    for name, block in season.blocks.items():
        if wanted in (name, block.block.name.lower()):
            return block
    raise UserError(Fault(f'there is no block "{key}"; there are: {", ".join(season.blocks)}', key="block"))


def default_basis(season: SeasonFile, tissue: Tissue) -> Basis | None:
    """The basis that a tissue's results have in this season, when the tables in use leave one only."""
    bases = {table.basis for table in season.tables if table.tissue is tissue}
    return bases.pop() if len(bases) == 1 else None


def read_result(given: Mapping[str, str], season: SeasonFile, today: date) -> Entered:
    """Check one result.

    Args:
        given: text by field name, see `RESULT_FIELDS`; empty text means "not given".
        season: the season.
        today: the day of entry; nothing may be sampled or received after it.

    Raises:
        UserError: every fault, each with its field.
    """
    faults = _Faults()
    text = {key: (given.get(key) or "").strip() for key in RESULT_FIELDS}
    for key in given:
        if key not in RESULT_FIELDS:
            faults.add(key, f"is no field of a result; the fields are: {', '.join(RESULT_FIELDS)}")
    for key in ("block", "sampled", "value"):
        if not text[key]:
            faults.add(key, "is missing")
    faults.settle()
    block = faults.take("block", lambda: block_of(season, text["block"]))
    sampled = faults.take("sampled", lambda: read_date(text["sampled"], "sampled"))
    received = (
        faults.take("received", lambda: read_date(text["received"], "received")) if text["received"] else None
    )
    tissue = faults.take("tissue", lambda: read_word(text["tissue"] or "petiole", Tissue, "tissue"))
    method = faults.take("method", lambda: read_word(text["method"] or "laboratory", Method, "method"))
    petioles = faults.take("petioles", lambda: _count(text["petioles"])) if text["petioles"] else None
    parsed = faults.take("value", lambda: parse_value(text["value"]))
    basis = None
    if tissue is not None:
        basis = faults.take("basis", lambda: _basis(text["basis"], season, tissue))
    if sampled is not None:
        _check_days(faults, season, sampled, received, today)
    stored = None
    if tissue is not None and basis is not None and parsed is not None:
        analyte = text["analyte"] or MAIN_ANALYTE[tissue]
        stored = _stored(faults, parsed[1], text["unit"], analyte, basis)
    faults.settle()
    assert block is not None and sampled is not None and tissue is not None and method is not None
    assert basis is not None and parsed is not None and stored is not None
    name, value = stored
    unit = text["unit"] or stored_unit(basis, name)
    result = TissueResult(
        record=0,
        block=block.block.key,
        sampled=sampled,
        received=received,
        tissue=tissue,
        basis=basis,
        analyte=name,
        value=value,
        censor=parsed[0],
        petioles=petioles,
        method=method,
        laboratory=text["laboratory"],
        sample_id=text["sample_id"],
        note=text["note"],
        reported=f"{text['value']} {unit} {text['analyte'] or name}",
    )
    return Entered(result, tuple(_questions(result, block)))


def _stored(faults: _Faults, value: float, unit: str, analyte: str, basis: Basis) -> tuple[str, float] | None:
    """Stored analyte and value; without a unit, the value is in the stored one."""
    name = faults.take("analyte", lambda: canonical_analyte(analyte))
    used = unit or stored_unit(basis, name or "NO3-N")
    if name is None:
        faults.take("unit", lambda: to_stored(value, used, "NO3-N", basis))
        return None
    return faults.take("unit", lambda: to_stored(value, used, analyte, basis))


def _basis(text: str, season: SeasonFile, tissue: Tissue) -> Basis:
    if text:
        basis = read_word(text, Basis, "basis")
    else:
        known = Basis.DRY if tissue is Tissue.LEAF else default_basis(season, tissue)
        if known is None:
            raise UserError(Fault("is missing: dry or sap? The two scales cannot be converted", key="basis"))
        basis = known
    if tissue is Tissue.LEAF and basis is Basis.SAP:
        raise UserError(Fault("sap goes with petioles; leaf values are dry weight", key="basis"))
    return basis


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit()) or not 1 <= int(text) <= 1000:
        raise UserError(Fault(f'"{text}" should be a whole number from 1 to 1000', key="petioles"))
    return int(text)


def _check_days(faults: _Faults, season: SeasonFile, sampled: date, received: date | None, today: date) -> None:
    if season.planted is not None and sampled < season.planted:
        faults.add("sampled", f"{sampled} is before planting on {season.planted}")
    if sampled > today:
        faults.add("sampled", f"{sampled} is after today, {today}")
    if received is not None and received < sampled:
        faults.add("received", f"{received} is before the sample was taken on {sampled}")
    if received is not None and received > today:
        faults.add("received", f"{received} is after today, {today}")


def same_result(one: TissueResult, other: TissueResult) -> bool:
    """Whether two results say the same of the same sample, as far as it was written down."""

    def mark(result: TissueResult) -> tuple[object, ...]:
        kind = (result.block, result.tissue, result.basis, result.analyte)
        return (*kind, result.sampled, result.censor, result.value, result.sample_id)

    return mark(one) == mark(other)


def _questions(result: TissueResult, block: BlockSeason) -> list[str]:
    try:
        low = block.band_for(result).low
    except OutOfSeason:
        low = None
    questions = implausible(result, low)
    first, last = block.plan.start - _BEFORE_PLAN, block.plan.end + _AFTER_PLAN
    if not first <= result.sampled <= last:
        questions.append(
            f"{result.sampled} is far from the season, {block.plan.start} to {block.plan.end}: is the year right?"
        )
    same = [other for other in block.results if same_result(other, result)]
    if same:
        questions.append(f"the same result stands as record {same[0].record} already: is this another sample?")
    return questions


def read_application(
    season: SeasonFile,
    block: str,
    on: date,
    today: date,
    n: float | None = None,
    products: Mapping[str, float] | None = None,
    note: str = "",
) -> Application:
    """Check one application, by nitrogen or by product.

    Args:
        season: the season.
        block: block key or name.
        on: day of the application.
        today: the day of entry.
        n: nitrogen per area in the season's unit, 0 for a skipped injection; or None.
        products: product name -> weight for the whole block in the season's unit; or None.
        note: free text.

    Raises:
        UserError: every fault, each with its field.
    """
    faults = _Faults()
    found = faults.take("block", lambda: block_of(season, block))
    if on > today:
        faults.add("on", f"{on} is after today, {today}")
    if season.planted is not None and on < season.planted:
        faults.add("on", f"{on} is before planting on {season.planted}")
    if (n is None) == (not products):
        faults.add("n", "give the nitrogen, or products with their weights; one of the two")
    if n is not None and not 0 <= n < 1000:
        faults.add("n", f"{n} should be from 0 up to 1000 {season.units.total_unit}")
    faults.settle()
    assert found is not None
    weights: dict[str, float] = {}
    total = 0.0
    names = {product.name.lower(): product for product in found.products}
    for name, weight in (products or {}).items():
        product = names.get(name.strip().lower())
        if product is not None and product.name in weights:
            faults.add("product", f'"{name}" is given twice; add its weights up')
        elif product is None:
            faults.add("product", f'"{name}" is not in the season file; there are: {", ".join(names)}')
        elif not 0 <= weight < 1_000_000:
            faults.add("product", f"{weight} {season.units.weight_unit} of {name} is not a weight")
        else:
            weights[product.name] = season.units.weight_in(weight)
            total += nitrogen_in(product, weights[product.name])
    faults.settle()
    area = found.block.area_ac()
    n_lb_ac = total / area if n is None else season.units.rate_in(n)
    return Application(0, found.block.key, on, n_lb_ac, weights, note)


def to_confirm(question: str) -> Fault:
    """A question that nobody answered, as a fault of the value."""
    end = "" if question.endswith(("?", ".")) else "."
    return Fault(f"{question}{end} Confirm it to take it.", key="value")


def application_questions(application: Application, block: BlockSeason, units: UnitSystem) -> list[str]:
    """Questions that a careful person would ask about an application, empty when there are none."""
    questions = []
    if application.n_lb_ac > _MANY_WEEKS * block.plan.ceiling_lb_ac:
        questions.append(
            f"{units.rate_out(application.n_lb_ac):.1f} {units.total_unit} at one time is far above a week's "
            f"ceiling of {units.rate_out(block.plan.ceiling_lb_ac):.1f}: is it per area, and not for the block?"
        )
    if not block.plan.start <= application.on <= block.plan.end:
        questions.append(
            f"{day(application.on)} lies outside the plan, {day(block.plan.start)} to {day(block.plan.end)}: "
            "is the day right?"
        )
    return questions


def read_observation(
    season: SeasonFile, block: str, on: date, today: date, sight: str, value: float | None = None, note: str = ""
) -> Observation:
    """Check one field observation.

    Args:
        season: the season.
        block: block key or name.
        on: day it was seen.
        today: the day of entry.
        sight: its kind, one of `Sight`.
        value: soil NO3-N [ppm], for a soil nitrate test only.
        note: free text.

    Raises:
        UserError: every fault, each with its field.
    """
    faults = _Faults()
    found = faults.take("block", lambda: block_of(season, block))
    kind = faults.take("kind", lambda: read_word(sight, Sight, "kind"))
    if on > today:
        faults.add("on", f"{on} is after today, {today}")
    if season.planted is not None and on < season.planted and kind is not Sight.SOIL_NITRATE:
        faults.add("on", f"{on} is before planting on {season.planted}")
    if kind is Sight.SOIL_NITRATE and (value is None or not 0 <= value <= 1000):
        faults.add("value", "a soil nitrate test needs its NO3-N in ppm, 0 to 1000")
    if kind is not None and kind is not Sight.SOIL_NITRATE and value is not None:
        faults.add("value", f'a value goes with "{Sight.SOIL_NITRATE.value}" only')
    faults.settle()
    assert found is not None and kind is not None
    return Observation(0, found.block.key, on, kind, value, note)
