"""Reports as JSON in the open schema modus/slim/v1/0 (OADA formats): samples by key, each with results by key.

Codes are those of the Botanical Analysis Nomenclature (AgGateway Modus): every `B-NO3` code reports NO3-N, except
`B-NO3.02.01`, which is listed as total Kjeldahl nitrogen.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, NoReturn

from fertadjust.errors import Fault, UserError
from fertadjust.lab.amounts import Amounts, Limit
from fertadjust.lab.cells import Days, Number, Values, day_order, decimal_mark, first_lines
from fertadjust.lab.found import Findings, Row
from fertadjust.lab.kinds import Kinds, Said
from fertadjust.lab.profile import Profile
from fertadjust.lab.text import short
from fertadjust.lab.values import Absent
from fertadjust.lab.vocabulary import NITRATE, Role
from fertadjust.lab.words import Column, analyte_of, column_of

_TYPE: Final = "plant-tissue"
_CODE: Final = re.compile(r"^B-([A-Z0-9-]+?)(\.\d+)+$", re.IGNORECASE)
_KJELDAHL: Final = "B-NO3.02.01"
_NITRATE_BY_NO: Final = "B-NO.09.02"
_SAP_END: Final = ".15.04"
_DATE_QUESTION: Final = "columns.date"

Object = Mapping[str, object]


@dataclass(frozen=True, slots=True)
class _Result:
    """One result with what its sample and report say, as printed."""

    path: str
    analyte: str
    unit: str
    code: str
    value: str
    sampled: str
    received: str
    laboratory: str
    sample_id: str
    names: tuple[str, ...]


def read_json(text: str, profile: Profile, found: Findings, sap_or_dry: str) -> None:
    """Read the results of a JSON report into `found`.

    Raises:
        UserError: it is not JSON, or not of this schema.
    """
    whole = _parsed(text, found.name)
    reports = whole if isinstance(whole, list) else [whole]
    if not reports or not all(isinstance(item, dict) and item.keys() & {"samples", "type"} for item in reports):
        message = (
            'this JSON is no report of tissue samples: an object with id, date, type "plant-tissue" and samples'
        )
        raise UserError(Fault(message, found.name))
    results: list[_Result] = []
    for number, report in enumerate(reports):
        prefix = f"{number}." if isinstance(whole, list) else ""
        results += _results(report, prefix, profile, found)
    dates = first_lines((text, None) for result in results for text in (result.sampled, result.received))
    numbers = first_lines((result.value, None) for result in results if type(result.value) is not Number)
    days = Days(day_order(dates, profile, found))
    values = Values(decimal_mark(numbers, False, profile, found))
    kinds = Kinds(found, profile, sap_or_dry=sap_or_dry, long=True)
    amounts = Amounts(values, profile, found)
    for result in [] if found.hopeless else results:
        row = _row(result, days, kinds, amounts, found)
        if row is not None:
            found.rows.append(row)


def _parsed(text: str, name: str) -> object:
    def pairs(items: list[tuple[str, object]]) -> dict[str, object]:
        out = dict(items)
        if len(out) < len(items):
            keys = [key for key, _ in items]
            twice = next(key for key in keys if keys.count(key) > 1)
            raise UserError(Fault(f'the key "{_clean(twice)}" stands twice in one object', name))
        return out

    def constant(word: str) -> NoReturn:
        raise UserError(Fault(f"{word} is no number of JSON; leave the value out", name))

    try:
        whole: object = json.loads(
            text.removeprefix("\ufeff"),
            object_pairs_hook=pairs,
            parse_constant=constant,
            parse_int=Number,
            parse_float=Number,
        )
    except json.JSONDecodeError as error:
        raise UserError(Fault(f"this is not JSON: {error.msg}", name, error.lineno)) from None
    except RecursionError:
        raise UserError(Fault("the JSON is nested too deeply to be a report", name)) from None
    return whole


def _clean(text: str) -> str:
    """A text without characters that cannot be printed."""
    return " ".join("".join(letter if letter.isprintable() else " " for letter in text).split())


class _Reader:
    """Takes texts and objects out of JSON by path; wrong types are faults."""

    def __init__(self, found: Findings) -> None:
        self.found = found

    def object(self, parent: Object, key: str, path: str) -> Object:
        value = parent.get(key)
        if value is None:
            return {}
        if isinstance(value, dict):
            return value
        self.found.fault(f"should be an object {{...}}, not {_what(value)}", None, path)
        return {}

    def text(self, parent: Object, key: str, path: str) -> str:
        value = parent.get(key)
        if value is None:
            return ""
        if isinstance(value, Number):
            return value if key == "value" else str(value)
        if isinstance(value, str):
            return _clean(value)
        self.found.fault(f"should be a text, not {_what(value)}", None, path)
        return ""


def _what(value: object) -> str:
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, Number):
        return "a number"
    return "an object" if isinstance(value, dict) else "a text"


def _results(report: Object, prefix: str, profile: Profile, found: Findings) -> Iterator[_Result]:
    read = _Reader(found)
    for key in ("id", "date", "type"):
        if report.get(key) in (None, ""):
            found.fault("is missing", None, f"{prefix}{key}")
    kind = read.text(report, "type", f"{prefix}type")
    if kind != _TYPE:
        if kind:
            found.fault(f'"{kind}" reports are not read here; only "{_TYPE}" is', None, f"{prefix}type")
        return
    date = read.text(report, "date", f"{prefix}date")
    top_lab = read.object(report, "lab", f"{prefix}lab")
    top_source = read.object(report, "source", f"{prefix}source")
    for name, value in read.object(report, "samples", f"{prefix}samples").items():
        path = f"{prefix}samples.{_clean(name)}"
        if not isinstance(value, dict):
            found.fault(f"should be an object {{...}}, not {_what(value)}", None, path)
            continue
        lab = {**top_lab, **read.object(value, "lab", f"{path}.lab")}
        source = {**top_source, **read.object(value, "source", f"{path}.source")}
        at_lab = read.text(lab, "sampleid", f"{path}.lab.sampleid")
        fields = [_place_name(read, source, key, path) for key in ("subfield", "field")]
        names = [text for text in (*fields, _clean(name), at_lab) if text]
        sampled = read.text(source, "date", f"{path}.source.date")
        received = read.text(lab, "dateReceived", f"{path}.lab.dateReceived")
        laboratory = read.text(lab, "name", f"{path}.lab.name")
        results = read.object(value, "results", f"{path}.results")
        if not results:
            found.pass_over(None, f'no value: "{_clean(name)}"')
        elif not sampled and date:
            sampled = _report_date(date, f"{path}.source.date", profile, found)
        for key, result in results.items():
            here = f"{path}.results.{_clean(key)}"
            if not isinstance(result, dict):
                found.fault(f"should be an object {{...}}, not {_what(result)}", None, here)
                continue
            yield _Result(
                path=here,
                analyte=read.text(result, "analyte", f"{here}.analyte"),
                unit=read.text(result, "units", f"{here}.units"),
                code=read.text(result, "modusTestID", f"{here}.modusTestID"),
                value=read.text(result, "value", f"{here}.value"),
                sampled=sampled,
                received=received,
                laboratory=laboratory,
                sample_id=at_lab or _clean(name),
                names=tuple(dict.fromkeys(names)),
            )


def _report_date(date: str, path: str, profile: Profile, found: Findings) -> str:
    """The report's own date where it was told to be the day of sampling, else ""; asks when nothing was told."""
    meaning = profile.columns.get("date")
    if meaning is None:
        what = f'Samples without a day of their own: is the report\'s date, "{short(date)}", the day of sampling?'
        found.ask(_DATE_QUESTION, what, (Role.SAMPLED.value, Role.IGNORE.value), None, path)
    return date if meaning == Role.SAMPLED else ""


def _place_name(read: _Reader, source: Object, key: str, path: str) -> str:
    """The name of a field or subfield: a text, or an object with a name or an id."""
    value = source.get(key)
    if isinstance(value, dict):
        here = f"{path}.source.{key}"
        return read.text(value, "name", f"{here}.name") or read.text(value, "id", f"{here}.id")
    return read.text(source, key, f"{path}.source.{key}")


def _row(result: _Result, days: Days, kinds: Kinds, amounts: Amounts, found: Findings) -> Row | None:
    column = _column(result, found)
    if column is None:
        return None
    value = amounts.values.read(result.value)
    unit = value.unit if not isinstance(value, str | Absent) else ""
    units = ((f"{result.path}.value", unit), (f"{result.path}.units", result.unit))
    said = Said(analyte=result.analyte, units=units)
    if value is Absent.NOTHING:
        found.empty += 1
        return None
    kind = kinds.settle(result.analyte or result.code, column, said, None)
    if kind.ignored:
        found.leave(result.analyte)
        return None
    for key, message in kind.faults:
        found.fault(message, None, key or result.path)
    place = f"{result.path}.value"
    if isinstance(value, str):
        found.fault(value, None, place)
        return None
    fields = {"laboratory": result.laboratory or kinds.profile.laboratory, "sample_id": result.sample_id}
    right = True
    for field, text in (("sampled", result.sampled), ("received", result.received)):
        day, wrong = days.read(text)
        fields[field] = day
        right = right and not wrong and bool(day or field == "received")
        missing = field == "sampled" and not text and _DATE_QUESTION not in found.questions
        if wrong.strip() or missing or (field == "sampled" and text and not day and not wrong):
            found.fault(
                wrong or "the day of sampling is missing; write it as 2026-03-09", None, _day_path(result, field)
            )
    amount = amounts.text(value, kind, Limit(), "", None, place)
    if amount is None or not right or not kind.ready:
        return None
    fields = {key: text for key, text in fields.items() if text} | kind.fields | {"value": amount}
    return Row(None, place, fields, result.names, f"{result.value} {kind.printed}".rstrip())


def _day_path(result: _Result, field: str) -> str:
    sample = result.path.partition(".results.")[0]
    return f"{sample}.source.date" if field == "sampled" else f"{sample}.lab.dateReceived"


def _column(result: _Result, found: Findings) -> Column | None:
    """What the code says of a value, with the analyte held against it; None after a fault."""
    code = result.code.upper()
    place = f"{result.path}.modusTestID"
    if not code:
        if not result.analyte:
            found.fault("the analyte is missing beside this value", None, f"{result.path}.analyte")
            return None
        return Column(Role.VALUE)
    parts = _CODE.match(code)
    if parts is None:
        found.fault(f'"{result.code}" is no code of plant tissue, such as B-TN.01.01', None, place)
        return None
    if code == _KJELDAHL:
        found.fault(
            f"{result.code} is listed as total Kjeldahl nitrogen, not nitrate: ask the laboratory what it is",
            None,
            place,
        )
        return None
    group = parts[1].upper()
    nitrate = group == "NO3" or code == _NITRATE_BY_NO
    by_code = "NO3-N" if nitrate else "N" if group == "TN" else analyte_of(group)
    basis = "sap" if code.endswith(_SAP_END) else "dry" if nitrate else ""
    named = column_of(result.analyte)
    by_name = named.analyte if named is not None and named.role is Role.VALUE else ""
    if by_name == NITRATE and nitrate:
        by_name = "NO3-N"
    if by_code and result.analyte and by_name != by_code:
        found.fault(
            f'the analyte "{result.analyte}" and the code {result.code} ({by_code}) say different things',
            None,
            place,
        )
        return None
    if not result.analyte and not by_code:
        found.fault(
            f"the analyte is missing, and the code {result.code} is not known", None, f"{result.path}.analyte"
        )
        return None
    return Column(Role.VALUE, by_code or "", "", "", basis)
