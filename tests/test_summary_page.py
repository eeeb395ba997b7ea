"""The page of all blocks: sound HTML, whatever people wrote. All farms and figures are invented."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest

from fertadjust.attention import attention_key, standing_of
from fertadjust.plan import Change
from fertadjust.season import BlockSeason
from fertadjust.summary import FolderFault, Row, Summary
from fertadjust.summary_page import summary_html
from fertadjust.tissue import Basis, Censor
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.support import BLOOM, block, day_in, plan, result, season
from tests.test_report import CHART, HOSTILE, Page

CAME = day_in(6, 5)


def named(name: str, one: BlockSeason, farm: str = "Larkrise Farm") -> Row:
    one = replace(one, block=block(key=name, name=name))
    return Row(farm, farm, "larkrise", one, standing_of(one, CAME))


def summary(*rows: Row, folders: int = 1, faults: tuple[FolderFault, ...] = ()) -> Summary:
    return Summary(CAME, tuple(sorted(rows, key=lambda row: attention_key(row.standing))), folders, faults)


LOW = named("Creek side", season(result(900), the_plan=plan(cap=60.0)))
FINE = named("Hill top", season(result(4000), left=(CAME,)))
RAISED = season(
    result(900), changes=(Change(CAME, day_in(7), day_in(8, 5), 4 / 3, {7: 7.0, 8: 7.0}),), units=UnitSystem.METRIC
)
DECIDED = named("Lane end", RAISED, "Sandbrook Farm")
BARE = named("North", season())
BOUND = named("South", season(result(9000, censor=Censor.BELOW), result(450, record=2, basis=Basis.SAP)))
NASTY = named(HOSTILE, season(result(900)), HOSTILE)

PAGES = {
    "one farm": summary(LOW, FINE, BARE, BOUND),
    "one block": summary(LOW),
    "two farms, two units": summary(LOW, FINE, DECIDED, folders=2),
    "metric": summary(DECIDED),
    "hostile": summary(NASTY, LOW, folders=2, faults=(FolderFault(HOSTILE, HOSTILE),)),
    "nothing": summary(folders=0, faults=(FolderFault("nowhere", "there is no season.toml here"),)),
}


def page_of(name: str, *charts: tuple[str, str]) -> Page:
    return Page(summary_html(PAGES[name], program="fertadjust", charts=charts))


@pytest.fixture(params=list(PAGES), name="page")
def _page(request: pytest.FixtureRequest) -> Page:
    return page_of(request.param)


def cells(page: Page) -> list[str]:
    return [" ".join(item.text.split()) for item in page.all("td")]


def test_a_page_is_sound_and_self_contained(page: Page) -> None:
    assert page.html.lstrip().startswith("<!DOCTYPE html>")
    assert not page.all("script", "iframe", "link", "img", "form")
    assert not re.search(r"\son\w+=", page.html)
    policy = next(item for item in page.all("meta") if item.attrs.get("http-equiv"))
    assert "default-src 'none'" in str(policy.attrs["content"])
    assert [item.name for item in page.all("h1")] == ["h1"]
    assert [item.name for item in page.all("header", "main", "footer")] == ["header", "main", "footer"]
    assert page.all("html")[0].attrs["lang"] == "en"
    assert "None" not in page.text
    assert "lb N" in page.text or "kg N" in page.text or "no block to show" in page.text


def test_headings_do_not_skip_a_level(page: Page) -> None:
    levels = [int(item.name[1]) for item in page.all("h1", "h2", "h3")]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_are_named_and_their_headers_say_what_for(page: Page) -> None:
    for table in page.all("table"):
        assert table.path[-1] == "div"
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(item.attrs.get("scope") in {"col", "row"} for item in page.all("th"))
    rows = [item for item in page.all("tr") if "tbody" in item.path]
    heads = [item for item in page.all("th") if item.attrs["scope"] == "col"]
    assert len(cells(page)) + len(rows) == len(heads) * len(rows)
    for region in (item for item in page.all("div") if item.attrs.get("role") == "region"):
        assert region.attrs["tabindex"] == "0"
        assert region.attrs["aria-label"]


def test_what_people_wrote_is_shown_as_text_and_set_apart() -> None:
    page = page_of("hostile")
    assert "<script" not in page.html.lower()
    assert "49" not in "".join(item.text for item in page.all("bdi"))
    apart = [item.text for item in page.all("bdi")]
    assert apart.count(HOSTILE) >= 6
    assert page.text.count("alert('x')") == len([text for text in apart if "alert" in text])


def test_the_same_summary_gives_the_same_page(page: Page) -> None:
    name = next(key for key in PAGES if page_of(key).html == page.html)
    assert summary_html(PAGES[name], program="fertadjust") == page.html


def test_urgency_stands_in_words_and_blocks_in_order() -> None:
    page = page_of("one farm")
    when = [item.text for item in page.all("td") if item.attrs.get("class") == "when"]
    assert when == ["today", "today", "this week", "this week"]
    heads = [item.text for item in page.all("h2")]
    assert heads[1:] == ["Today", "This week", "When you can"]
    assert [item.text for item in page.all("h3")][:2] == ["Creek side", "North"]
    assert "Decide: raise nitrogen from 5.25 to 7.00 lb N/ac/week." in cells(page)


def test_a_row_holds_result_rates_review_and_what_the_cap_leaves() -> None:
    row = cells(page_of("one block"))
    assert row[2] == "900 ppm below chance over 99 % 3 days old"
    assert row[3] == "3,000 to 5,000 ppm, week 6"
    assert row[4] == "5.25 → 7.00 advised"
    assert row[5:] == ["none", "28.50"]


def test_a_decision_of_the_day_is_shown_in_place_of_the_advice() -> None:
    low, high = (f"{rate * KG_HA_PER_LB_AC:.2f}" for rate in (5.25, 7.0))
    row = cells(page_of("metric"))
    assert row[4] == f"{low} → {high} decided"
    assert row[5:] == ["25 Apr", "no cap"]
    assert "rates in kg N/ha/week, totals in kg N/ha" in page_of("metric").text


def test_blocks_in_two_units_name_theirs_each() -> None:
    page = page_of("two farms, two units")
    assert "rates in" not in page.all("caption")[0].text
    assert sum("kg N/ha/week" in text for text in cells(page)) == 1
    assert sum("lb N/ac/week" in text and "→" in text for text in cells(page)) == 1


def test_one_farm_has_no_column_of_farms() -> None:
    one = [item.text for item in page_of("one farm").all("th")]
    two = [item.text for item in page_of("two farms, two units").all("th")]
    assert "Farm" not in one
    assert "Farm" in two
    assert page_of("one farm").text.startswith("What every block needs, Sat 11 Apr 2026 Larkrise Farm. 4 blocks: ")
    assert " 2 farms. 3 blocks: " in page_of("two farms, two units").text


def test_what_could_not_be_read_has_a_section_of_its_own() -> None:
    page = page_of("nothing")
    assert "Folders that could not be read" in [item.text for item in page.all("h2")]
    assert "nowhere: there is no season.toml here" in page.text
    assert "Folders that could not be read" not in page_of("one farm").text


def test_the_grower_decides(page: Page) -> None:
    assert "The grower decides. Nothing is applied, decided or written down by this page." in page.text
    assert "extension service or a licensed advisor" in page.text


def test_a_chart_is_put_in_as_it_is_and_one_for_phones_takes_its_place() -> None:
    assert not page_of("one farm").all("svg", "figure")
    one, several = page_of("one farm", (CHART, CHART)), page_of("one farm", (CHART, CHART), (CHART, CHART))
    assert len(one.all("svg")) == 2
    assert "<?xml" not in one.html
    drawn = [item.attrs for item in one.all("div") if "Chart of" in item.attrs.get("aria-label", "")]
    assert [item["class"] for item in drawn] == ["scroll page", "scroll phone"]
    assert [item["aria-label"] for item in drawn] == ["Chart of all blocks", "Chart of all blocks, for a phone"]
    labels = [item.attrs["aria-label"] for item in several.all("div") if "page" in item.attrs.get("class", "")]
    assert labels == ["Chart of all blocks, part 1", "Chart of all blocks, part 2"]


def test_a_block_before_and_after_its_plan_says_so() -> None:
    one = season(result(4000))
    for on, text in ((BLOOM - timedelta(days=8), "begins on Mon 2 Mar"), (day_in(14), "ended on Sun 24 May")):
        row = Row("Larkrise Farm", "Larkrise Farm", "larkrise", one, standing_of(one, on))
        page = Page(summary_html(Summary(on, (row,), 1), program="fertadjust"))
        assert f"The plan {text} 2026." in page.text
