"""What a careful person would ask about a band table that is valid: mixed-up units, far-off edges, gaps, stages.

Every limit here is the program's own; it asks a question and changes nothing.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Final

from fertadjust.band_rows import MONTHS, Axis, BandRow
from fertadjust.bands import BandTable
from fertadjust.compare import conformity, percent
from fertadjust.crop_stages import CropStages, StageFile, order_words
from fertadjust.evidence import Evidence, split_sources
from fertadjust.stages import stage_words
from fertadjust.tissue import (
    Basis,
    Tissue,
    TissueResult,
    canonical_analyte,
    format_value,
    implausible,
    stored_unit,
    to_stored,
)
from fertadjust.uncertainty import log_sd

FAR: Final = 3.0
"""Factor from every shipped edge beyond which an edge is asked about."""

USUAL_UNCERTAINTY: Final = 0.15
"""Relative standard uncertainty of a result that narrow bands are judged by."""

_DAY: Final = date(2000, 1, 1)
"""A result needs a day; that of an edge plays no part."""

_UNITS: Final = {Basis.DRY: ("ppm", "%", "g/kg"), Basis.SAP: ("mg/L", "g/L")}
"""Units that are mistaken for each other."""


@dataclass(frozen=True, slots=True)
class _Edge:
    """One edge of a row in the stored unit."""

    row: BandRow
    side: str
    printed: float
    value: float
    unit: str
    analyte: str

    def text(self) -> str:
        return f"{format_value(self.value, self.unit)} {self.unit}"


def questions(
    table: BandTable, shipped: Mapping[str, BandTable], stages: StageFile, confidence: float = 0.80
) -> list[str]:
    """Questions about a table, in sentences; empty when there are none.

    Args:
        table: a valid table.
        shipped: the tables that ship with the program, by id; one of the same id is left out.
        stages: the stages of each crop.
        confidence: probability from which on a side counts as sure.
    """
    others = [other for name, other in shipped.items() if name != table.id]
    return [
        *_unusual(table),
        *_far(table, others),
        *_gaps(table),
        *_stages(table, stages),
        *_one_edge(table),
        *_narrow(table, confidence),
        *_sources(table),
    ]


def _edges(table: BandTable) -> Iterator[_Edge]:
    for row in table.rows:
        for side, value in (("low", row.low_edge), ("high", row.high_edge)):
            if value is not None:
                analyte, stored = to_stored(value, row.unit, row.analyte, table.basis)
                yield _Edge(row, side, value, stored, stored_unit(table.basis, analyte), analyte)


def _unusual(table: BandTable) -> Iterator[str]:
    for edge in _edges(table):
        result = TissueResult(0, "", _DAY, None, table.tissue, table.basis, edge.analyte, edge.value)
        for question in implausible(result):
            yield f"Row {edge.row.id}, {edge.side}: {question}: is the unit right?"


def _far(table: BandTable, others: Sequence[BandTable]) -> Iterator[str]:
    """Edges far from those of every shipped table of the same crop and kind."""
    alike = [
        other
        for other in others
        if set(table.crops) & set(other.crops) and (other.tissue, other.basis) == (table.tissue, table.basis)
    ]
    theirs = [(edge, other) for other in alike for edge in _edges(other)]
    for edge in _edges(table):
        same = [(one.value, one, other) for one, other in theirs if (one.analyte, one.side) == _kind(edge)]
        if not same:
            continue
        lowest, highest = min(same, key=lambda item: item[0]), max(same, key=lambda item: item[0])
        if edge.value > FAR * highest[0]:
            nearest, words = highest, f"over {FAR:g} times the highest"
        elif edge.value < lowest[0] / FAR:
            nearest, words = lowest, f"under 1/{FAR:g} of the lowest"
        else:
            continue
        _, one, other = nearest
        hint = _mixed_up(edge, table.basis, lowest[0], highest[0]) or _other_basis(edge, table, others)
        yield (
            f"Row {edge.row.id}, {edge.side}: {edge.text()} is {words} in the shipped tables of {table.crop} for "
            f"its kind, {one.text()} in {other.id}" + (f": {hint}?" if hint else ".")
        )


def _kind(edge: _Edge) -> tuple[str, str]:
    return edge.analyte, edge.side


def _mixed_up(edge: _Edge, basis: Basis, lowest: float, highest: float) -> str:
    """The mix-up after which the edge would lie among the shipped ones, "" when none does."""

    def fits(unit: str, analyte: str) -> bool:
        return lowest <= to_stored(edge.printed, unit, analyte, basis)[1] <= highest

    row = edge.row
    if edge.analyte == "NO3-N":
        as_n = to_stored(edge.printed, row.unit, "NO3-N", basis)[1]
        written, other = ("NO3-N", "NO3") if as_n == edge.value else ("NO3", "NO3-N")
        if fits(row.unit, other):
            return f"are the figures {other} and not {written}"
    units = [unit for unit in _UNITS[basis] if unit != row.unit and fits(unit, row.analyte)]
    return f"is the unit {units[0]} and not {row.unit}" if units else ""


def _other_basis(edge: _Edge, table: BandTable, others: Sequence[BandTable]) -> str:
    """Whether the edge lies among those of the crop on the other basis."""
    basis = Basis.SAP if table.basis is Basis.DRY else Basis.DRY
    if table.tissue is not Tissue.PETIOLE:
        return ""
    values = [
        one.value
        for other in others
        if set(table.crops) & set(other.crops) and (other.tissue, other.basis) == (table.tissue, basis)
        for one in _edges(other)
        if _kind(one) == _kind(edge)
    ]
    if not values or not min(values) <= edge.value <= max(values):
        return ""
    names = {Basis.DRY: "dry weight", Basis.SAP: "fresh sap"}
    return f"is it {names[basis]} and not {names[table.basis]}"


def _gaps(table: BandTable) -> Iterator[str]:
    if table.between is not None or table.axis is Axis.SEASON:
        return
    for analyte in table.analytes:
        rows = [row for row in table.rows if canonical_analyte(row.analyte) == analyte]
        for first, last in _missing(table, rows):
            where = _span(table, first, last)
            yield f"There is no band for {analyte} {where}: results of that time will not be used."


def _missing(table: BandTable, rows: Sequence[BandRow]) -> Iterator[tuple[int, int]]:
    """First and last place of each gap between places that have a row."""
    places = sorted({place for row in rows for place in _places(table, row)})
    gaps = [(before + 1, after - 1) for before, after in pairwise(places) if after - before > 1]
    if table.axis is Axis.MONTHS and places:
        # months go round the year; the longest gap is the time without a crop
        around = (places[-1] + 1, places[0] + 11)
        gaps += [around] if around[0] <= around[1] else []
        gaps.remove(max(gaps, key=lambda gap: gap[1] - gap[0])) if gaps else None
    yield from gaps


def _places(table: BandTable, row: BandRow) -> list[int]:
    span = row.weeks or row.days
    if span is not None:
        return list(range(span[0], span[1] + 1))
    if row.stage is not None:
        return list(range(table.stages.index(row.stage), table.stages.index(row.until or row.stage) + 1))
    return [MONTHS.index(month) + 1 for month in row.months or ()]


def _span(table: BandTable, first: int, last: int) -> str:
    if table.axis in (Axis.WEEKS, Axis.DAYS):
        one = table.axis.value.removesuffix("s")
        return f"in {one} {first}" if first == last else f"in {table.axis.value} {first} to {last}"
    if table.axis is Axis.MONTHS:
        return "in " + ", ".join(MONTHS[(place - 1) % 12] for place in range(first, last + 1))
    return "at " + ", ".join(stage_words(name) for name in table.stages[first : last + 1])


def _stages(table: BandTable, stages: StageFile) -> Iterator[str]:
    known = stages.of(table.crop)
    if known is None:
        crops = [name for item in stages.crops for name in (item.crop, *item.also)]
        near = difflib.get_close_matches(table.crop, crops, 1)
        meant = f"; did you mean {near[0]}" if near else ""
        yield f"No table or rule of the program is for {table.crop}{meant}: does season.toml name the crop so?"
        return
    names = [*table.needs, *filter(None, [table.ends_with])]
    for name in names:
        if known.rank(name) is None:
            near = difflib.get_close_matches(name, known.names, 1)
            meant = f"did you mean {near[0]}" if near else f"the stages are {', '.join(known.names)}"
            yield (
                f"{name} is no stage of {table.crop} that a table or a rule knows ({meant}): if it is your own, "
                "date it in season.toml by this name."
            )
    yield from _order(names, known)


def _order(names: Sequence[str], known: CropStages) -> Iterator[str]:
    ranked = [(rank, name) for name in names if (rank := known.rank(name)) is not None]
    for (rank, name), (next_rank, following) in pairwise(ranked):
        if rank > next_rank:
            yield (
                f"{stage_words(name)} stands before {stage_words(following)}; the order in {known.crop} is "
                f"{order_words(known)}: is the table in order?"
            )


def _one_edge(table: BandTable) -> Iterator[str]:
    no_high = [row.id for row in table.rows if row.high_edge is None]
    no_low = [row.id for row in table.rows if row.low_edge is None]
    if no_high:
        yield f"{_rows(no_high)} no high edge: a result can be low or not low there, never high: nothing is cut."
    if no_low:
        yield f"{_rows(no_low)} no low edge: a result can be high or not high there, never low."


def _narrow(table: BandTable, confidence: float) -> Iterator[str]:
    found = []
    for row in table.rows:
        if row.low_edge is None or row.high_edge is None:
            continue
        low, high = math.log(row.low_edge), math.log(row.high_edge)
        _, within, _ = conformity((low + high) / 2, log_sd(USUAL_UNCERTAINTY), low, high)
        if within < confidence:
            found.append((within, row))
    if found:
        best, row = max(found, key=lambda item: item[0])
        yield (
            f"{_rows([item.id for _, item in found])} low and high so near each other that a result, uncertain "
            f"by about {percent(USUAL_UNCERTAINTY)}, is never sure to lie within. {percent(confidence)} is asked "
            f"for; row {row.id}, {row.low_edge:g} to {row.high_edge:g} {row.unit}, gets to {percent(best)} at "
            "best. Are the bands meant to be so narrow?"
        )


def _sources(table: BandTable) -> Iterator[str]:
    recalled = [row.id for row in table.rows if row.evidence is Evidence.RECALLED]
    if recalled:
        yield f"{_rows(recalled)} figures from memory: check them before relying on them."
    claimed = [
        row.id
        for row in table.rows
        if row.evidence in (Evidence.PUBLISHED, Evidence.DERIVED) and not _named(row.source)
    ]
    if claimed:
        yield f"{_rows(claimed)} published or derived figures, but no publication in source: which is it?"
    silent = [
        row.id
        for row in table.rows
        if row.id not in {*claimed, *recalled} and not _named(row.source) and not row.note
    ]
    if silent and not table.notes:
        yield f"{_rows(silent)} neither a source nor a note: where are the figures from?"


def _named(source: str) -> bool:
    """Whether a source field says more than that the figure is the grower's own."""
    return bool(set(split_sources(source)) - {"own"})


def _rows(ids: Sequence[str]) -> str:
    return f"Row {ids[0]} has" if len(ids) == 1 else f"Rows {', '.join(ids)} have"
