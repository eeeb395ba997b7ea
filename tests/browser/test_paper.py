"""Every page on Letter and A4: as many sheets as expected, none nearly empty, nothing torn apart."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from playwright.sync_api import Browser

from fertadjust.browser import Paper, pdf_of
from tests.browser.conftest import Written
from tests.browser.looking import Visit, visit
from tests.browser.pages import PAGES
from tests.browser.paper import Sheet, sheets, squeezed


class Printed(NamedTuple):
    """A page on paper.

    Attributes:
        sheets: what stands on each sheet.
        source: headings, rows, signature and footer of the page.
    """

    sheets: list[Sheet]
    source: dict[str, Any]


def printed_by(found: Visit, paper: Paper) -> Printed:
    size = {Paper.LETTER: "Letter", Paper.A4: "A4"}[paper]
    pdf = found.page.pdf(format=size, print_background=True)
    return Printed(sheets(pdf), found.measured("toPrint"))


@pytest.fixture(scope="module")
def laid_out(browser: Browser, file: Path) -> Iterator[Visit]:
    """The page as it is laid out for paper."""
    with visit(browser, file) as found:
        found.page.emulate_media(media="print")
        yield found


@pytest.fixture(scope="module", params=Paper)
def printed(laid_out: Visit, request: pytest.FixtureRequest) -> Printed:
    return printed_by(laid_out, request.param)


def unnumbered(printed: Printed) -> list[int]:
    """Sheets that do not end in their number "n / N", by itself or after the foot of the sheet."""
    count = len(printed.sheets)
    ends = [f" {' '.join(sheet.lines[-1:])}" for sheet in printed.sheets]
    return [n for n, end in enumerate(ends, 1) if not end.endswith(f" {n} / {count}")]


def text_lines(printed: Printed, sheet: Sheet) -> list[str]:
    """Lines of a sheet, squeezed, without page number and footer."""
    count, footer = len(printed.sheets), squeezed(printed.source["footer"])
    numbers = {f"{n}/{count}" for n in range(1, count + 1)}
    feet = numbers | {footer + number for number in numbers}
    lines = [squeezed(line) for line in sheet.lines]
    return [line for line in lines if line not in feet and not (line and line in footer)]


def stranded(printed: Printed) -> list[str]:
    """Headings and captions that a sheet ends with; a long one takes several lines."""
    headings = {squeezed(text) for text in printed.source["headings"]} - {""}
    endings = []
    for sheet in printed.sheets:
        lines = text_lines(printed, sheet)
        endings += ["".join(lines[-count:]) for count in range(1, min(4, len(lines)) + 1)]
    return [text for text in endings if text in headings]


def torn(printed: Printed) -> list[str]:
    """Rows of tables whose text does not stand on one sheet from its first cell to its last."""
    rows = [squeezed(row) for row in printed.source["rows"]]
    return [row for row in rows if not any(row in sheet.squeezed for sheet in printed.sheets)]


def on_one_sheet(printed: Printed, text: str) -> bool:
    return any(squeezed(text) in sheet.squeezed for sheet in printed.sheets)


def test_it_takes_as_many_sheets_as_expected(printed: Printed, name: str) -> None:
    fewest, most = PAGES[name].printed
    assert fewest <= len(printed.sheets) <= most < 2 * fewest


def test_no_sheet_holds_only_the_footer_or_a_line_or_two(printed: Printed) -> None:
    assert printed.source["footer"]
    assert [n for n, sheet in enumerate(printed.sheets, 1) if len(text_lines(printed, sheet)) < 3] == []


def test_every_sheet_carries_its_number(printed: Printed) -> None:
    assert unnumbered(printed) == []


def test_every_sheet_says_what_wrote_it(printed: Printed, name: str) -> None:
    footer = squeezed(printed.source["footer"])
    without = [n for n, sheet in enumerate(printed.sheets, 1) if footer not in sheet.squeezed]
    assert without == [] or name == "mix sheet"


def test_no_heading_is_left_at_the_foot_of_a_sheet(printed: Printed) -> None:
    assert printed.source["headings"]
    assert stranded(printed) == []


def test_no_row_of_a_table_is_torn(printed: Printed) -> None:
    assert printed.source["rows"]
    assert torn(printed) == []


def test_the_signatures_stand_together(printed: Printed, name: str) -> None:
    signatures = printed.source["signature"]
    assert len(signatures) == int(PAGES[name].signed)
    assert all(on_one_sheet(printed, text) for text in signatures)


@pytest.mark.parametrize("paper", Paper)
def test_the_program_prints_what_the_tests_look_at(browser: Browser, written: Written, paper: Paper) -> None:
    file = written("mix sheet")
    own = sheets(pdf_of(file.read_text(encoding="utf-8"), paper))
    with visit(browser, file) as found:
        assert own == printed_by(found, paper).sheets


# --- the checks can fail ------------------------------------------------------------------------------------

ROW = "<tr><td>one<br>two<br>three<br>four</td></tr>"
BAD = f"""<!DOCTYPE html><html lang="en"><head><title>Bad</title><style>
@page {{ margin: 20mm }} body {{ margin: 0; font: 12pt/16pt sans-serif }} h2, p {{ margin: 0; font-size: 12pt }}
.fill {{ height: 190mm }} h2 {{ break-after: auto; height: 40mm }}
</style></head><body><main><div class="fill">text</div><h2>Stranded<br>heading</h2>
<p style="break-before: page">more</p>
<div class="fill" style="height: 217mm">text</div><table><tbody>{ROW}</tbody></table>
<section class="sign"><p>Grower</p><p style="break-before: page">Advisor</p></section></main>
<footer style="break-before: page">Written by nobody.</footer></body></html>"""


def test_a_bad_page_is_noticed(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "bad.html"
    path.write_text(BAD, encoding="utf-8")
    with visit(browser, path) as found:
        bad = printed_by(found, Paper.LETTER)
    assert unnumbered(bad) == list(range(1, len(bad.sheets) + 1))
    assert stranded(bad) == ["Strandedheading"]
    assert torn(bad) == ["onetwothreefour"]
    assert not on_one_sheet(bad, bad.source["signature"][0])
    assert text_lines(bad, bad.sheets[-1]) == []
