"""A laboratory's report from its bytes: a CSV file, a spreadsheet or JSON, with rows, faults and questions.

Nothing is opened, asked or matched to blocks here. What the report does not say and was not told is a question.
"""

from __future__ import annotations

import re
from typing import Final

from fertadjust.lab.body import Body
from fertadjust.lab.found import Findings, Question, Report, Row
from fertadjust.lab.kinds import Kinds, title_kinds
from fertadjust.lab.lab_json import read_json
from fertadjust.lab.layout import read_layout, says_sap
from fertadjust.lab.profile import Profile
from fertadjust.lab.spreadsheet import is_spreadsheet, read_sheet
from fertadjust.lab.text import Grid, decode, read_grid
from fertadjust.lab.vocabulary import Role

__all__ = ["Question", "Report", "Row", "read_report"]

_JSON_START: Final = re.compile(rb"^(\xef\xbb\xbf)?\s*(\{\s*[\"}]|\[\s*[\{\]])")


def read_report(data: bytes, name: str, profile: Profile | None = None, *, sap_or_dry: str = "") -> Report:
    """Read a report.

    Args:
        data: the file's bytes.
        name: the file's name, for messages.
        profile: what this laboratory's reports were told before, or None.
        sap_or_dry: basis of petiole values that name none: "dry", "sap", or "" to ask.

    Raises:
        UserError: the file as a whole is no report: empty, binary, or without a header.
    """
    known = profile or Profile()
    found = Findings(name)
    if is_spreadsheet(data):
        grid = read_sheet(data, name, known, found)
        if grid is None:
            return found.report("spreadsheet", ())
        return _read_table(grid, "spreadsheet", known, found, sap_or_dry)
    if name.lower().endswith(".json") or _JSON_START.match(data):
        text, _ = decode(data, name)
        read_json(text, known, found, sap_or_dry)
        return found.report("JSON, Modus slim", ())
    return _read_table(read_grid(data, name), "CSV", known, found, sap_or_dry)


def _read_table(grid: Grid, what: str, profile: Profile, found: Findings, sap_or_dry: str) -> Report:
    layout = read_layout(grid, profile, found)
    tissue, basis = title_kinds(layout.defaults)
    if says_sap(grid, layout):
        sap_or_dry = ""
    kinds = Kinds(found, profile, layout.own, sap_or_dry, tissue, basis, long=bool(layout.of(Role.ANALYTE)))
    if not found.hopeless:
        Body(layout, kinds, profile, found, grid.delimiter).read()
    if layout.own:
        form = "the program's own columns"
    elif any(place.column.analyte for place in layout.values()):
        form = "a row a sample"
    else:
        form = "a row a result" if kinds.long else "one value a row"
    return found.report(f"{what}, {form}", layout.header)
