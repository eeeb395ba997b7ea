"""The review as a page: sound HTML, whatever the season holds and whatever people wrote."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from typing import Any

import pytest

from fertadjust import review_words as in_words
from fertadjust import words
from fertadjust.evidence import Evidence
from fertadjust.pages import cited_in
from fertadjust.plan import Credit
from fertadjust.review import Review, farm_review
from fertadjust.review_next_year import farm_next_year, next_year
from fertadjust.review_page import farm_review_html, review_html
from fertadjust.rules.policy import with_overrides
from fertadjust.season import BlockSeason
from fertadjust.shipped import citations, shipped_policy_files
from fertadjust.tissue import Basis, Censor
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.rules import fed, leaf
from tests.support import BLOOM, block, day_in, plan, policy, result, season
from tests.test_report import CHART, HOSTILE, Page
from tests.test_review import IN_FORCE, LOW, RAISE, reviewed

US, METRIC = UnitSystem.US, UnitSystem.METRIC
SECTIONS = [
    "In short",
    "The season",
    "Advised, decided and applied",
    "Time in band",
    "After each change",
    "Nitrogen against plan and cap",
    "Sampling",
    "What to try next year",
    "Limits and cautions",
    "Sources",
]


def lived(**more: Any) -> BlockSeason:
    """A season with results of all sorts, a change that came back, weeks without a log and a credit."""
    credit = Credit(HOSTILE, 60.0, "UGA-AESL", Evidence.PUBLISHED)
    results = (
        LOW,
        result(3900.0, 7, record=2),
        result(900.0, 10, record=3, censor=Censor.BELOW),
        leaf(3.1, 7, record=4),
        result(450.0, 8, record=5, basis=Basis.SAP),
    )
    given: dict[str, Any] = {
        "the_plan": plan(cap=130.0, credits_=(credit,)),
        "applications": fed(weeks=range(1, 11)),
        "changes": (IN_FORCE,),
    }
    return season(*results, **(given | more))


def full(**more: Any) -> Review:
    return reviewed(lived(**more), decisions=[RAISE._replace(by=HOSTILE, reason=HOSTILE)])


def page(review: Review, units: UnitSystem = US, **more: Any) -> str:
    given: dict[str, Any] = {
        "farm": HOSTILE,
        "units": units,
        "charts": [(CHART, CHART)],
        "program": "fertadjust 0",
    }
    return review_html(review, next_year(review, units), **(given | more))


def farm_page(*reviews: Review, units: UnitSystem = US, **more: Any) -> str:
    found = farm_review(reviews)
    own = [next_year(item, units) for item in reviews]
    given: dict[str, Any] = {
        "farm": HOSTILE,
        "units": units,
        "charts": [(CHART, CHART)],
        "program": "fertadjust 0",
    }
    return farm_review_html(found, own, farm_next_year(found, units), **(given | more))


def south() -> Review:
    one = replace(lived(), block=block(key="south", name=HOSTILE, rows=20))
    return reviewed(one, decisions=[RAISE])


def own_policy() -> Any:
    data = shipped_policy_files()["strawberry-annual-plasticulture"].data
    changed = with_overrides(data, {"confidence": {"value": 0.9, "reason": HOSTILE}})
    return type(policy()).model_validate(changed)


PAGES: dict[str, Callable[[], str]] = {
    "full": lambda: page(full()),
    "running": lambda: page(reviewed(lived(), day_in(8), [RAISE])),
    "metric": lambda: page(full(), METRIC),
    "own policy": lambda: page(full(the_policy=own_policy())),
    "no chart": lambda: page(full(), charts=()),
    "no result": lambda: page(reviewed(season())),
    "not begun": lambda: page(reviewed(season(), BLOOM - timedelta(days=9))),
    "no cap": lambda: page(reviewed(season(LOW, applications=fed()))),
    "farm": lambda: farm_page(full(), south()),
    "farm of one": lambda: farm_page(full()),
    "empty farm": lambda: farm_page(reviewed(season()), charts=()),
}


@pytest.fixture(params=PAGES, name="html")
def _html(request: pytest.FixtureRequest) -> str:
    return PAGES[request.param]()


def section(html: str, title: str) -> str:
    """The text of the first section with a heading."""
    found = next(item for item in Page(html).all("section") if item.text.strip().startswith(title))
    return " ".join(found.text.split())


def test_the_page_is_well_formed(html: str) -> None:
    found = Page(html)
    ids = [item.attrs["id"] for item in found.elements if "id" in item.attrs]
    assert len(ids) == len(set(ids))
    assert html.lstrip().startswith("<!DOCTYPE html>")
    assert "<?xml" not in html
    assert found.all("html")[0].attrs["lang"] == "en"
    assert all(len(found.all(name)) == 1 for name in ("header", "main", "footer", "title", "h1"))
    assert "default-src 'none'" in str(found.all("meta")[2].attrs["content"])


def test_no_paragraph_holds_what_it_may_not(html: str) -> None:
    blocks = {"p", "ul", "ol", "dl", "div", "table", "section", "h2", "h3"}
    assert not [item for item in Page(html).elements if item.name in blocks and "p" in item.path]
    assert not [item for item in Page(html).all("li") if item.path[-1] not in {"ul", "ol"}]


def test_headings_do_not_skip_a_level(html: str) -> None:
    levels = [int(item.name[1]) for item in Page(html).all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_tables_have_captions_scopes_and_a_region_of_their_own_name_to_scroll_in(html: str) -> None:
    found = Page(html)
    tables = found.all("table")
    assert len(tables) == len(found.all("caption")) == len(found.all("thead"))
    assert all(item.attrs.get("scope") in {"col", "row"} for item in found.all("th"))
    regions = [item for item in found.all("div") if (item.attrs.get("class") or "").startswith("scroll")]
    assert len(regions) == len(tables) + 2 * len(found.all("figure"))
    assert all((item.attrs["tabindex"], item.attrs["role"]) == ("0", "region") for item in regions)
    labels = [item.attrs["aria-label"] for item in regions]
    assert all(labels) and len(labels) == len(set(labels))


def test_rows_are_as_wide_as_their_headings(html: str) -> None:
    for table in re.findall(r"<table.*?</table>", html, re.S):
        widths = {len(re.findall(r"<t[hd]\b", row)) for row in re.findall(r"<tr.*?</tr>", table, re.S)}
        assert len(widths) == 1, table[:200]


def test_nothing_is_fetched_run_or_linked(html: str) -> None:
    found = Page(html)
    assert not found.all("script", "a", "link", "iframe", "img", "object", "embed", "form", "b")
    for item in found.elements:
        assert not [name for name in item.attrs if name.startswith("on") or name in {"src", "href", "action"}]
    style = found.all("style")[0].text
    assert "url(" not in style and "@import" not in style


def test_every_source_key_has_its_citation(html: str) -> None:
    found = Page(html)
    listed = {item.text.strip() for item in found.all("dt")} & set(citations())
    assert listed == set(cited_in(found.text))
    assert all(citations()[key] in section(html, "Sources") for key in listed)


def test_what_people_wrote_shows_as_text_that_keeps_to_itself() -> None:
    for html in (PAGES["full"](), PAGES["farm"](), PAGES["own policy"]()):
        found = Page(html)
        assert "<script" not in html
        inside = [item for item in found.all("bdi") if HOSTILE in item.text]
        assert len(inside) >= 4
        shown = found.all("body")[0].text.count(HOSTILE)
        assert shown == sum(item.text.count(HOSTILE) for item in inside)


def test_the_sections_stand_in_their_order() -> None:
    headings = [" ".join(item.text.split()) for item in Page(PAGES["full"]()).all("h2")]
    assert headings == SECTIONS
    assert [item.text for item in Page(PAGES["no chart"]()).all("h2")] == [
        name for name in SECTIONS if name != "The season"
    ]


def test_the_page_says_what_the_review_says() -> None:
    review = full()
    text = Page(PAGES["full"]()).text.replace("\N{NO-BREAK SPACE}", " ")
    for sentence in (
        *in_words.in_short(review, US),
        *in_words.results_lines(review),
        in_words.days_line(review),
        *in_words.weeks_lines(review.nitrogen),
        *in_words.sampling_lines(review),
        in_words.READ_BETWEEN,
        in_words.NO_PROOF,
        in_words.RULES_OF_THUMB,
        in_words.span(review),
    ):
        assert sentence in text, sentence
    assert words.headline(review.moments[0].advice, US) in text
    for item in next_year(review, US):
        assert item.text in text
    assert "Back in band" in section(PAGES["full"](), "After each change")
    assert "3,900 ppm of 15 Apr, within 3,000 to 5,000 ppm" in text
    assert "7 days later with a mix mostly of nitrate (ROBERTS-1989, derived)" in text
    assert "No week" not in text
    assert "nearly worthless" in section(PAGES["full"](), "Limits and cautions")
    assert "Backflow" in section(PAGES["full"](), "Limits and cautions")


def test_nitrogen_stands_per_area_and_for_the_block() -> None:
    area = block().area_ac()
    us, metric = (section(PAGES[name](), "Nitrogen against") for name in ("full", "metric"))
    assert f"Plan of the whole season 63.00 {63 * area:,.2f}" in us
    assert "Season cap 130.00" in us
    assert f"Plan of the whole season {63 * KG_HA_PER_LB_AC:.2f}" in metric
    assert "kg N/ha" in metric and "lb" not in metric
    assert f"Credit {HOSTILE}: 60.00 lb N/ac (UGA-AESL, published)." in us


def test_a_season_that_runs_on_says_so_far() -> None:
    assert "The season still runs: everything is so far." in Page(PAGES["running"]()).text
    assert "The season has not begun" in Page(PAGES["not begun"]()).text


def test_an_empty_season_has_no_table_of_what_is_not_there() -> None:
    text = Page(PAGES["no result"]()).text
    assert "No nitrogen result has come in and nothing was decided." in text
    assert "No change was made on a result that lay out of its band." in text
    assert "Time in band is not known: there is no result." in text
    assert in_words.READ_BETWEEN not in text


def test_own_policy_values_stand_among_the_limits() -> None:
    assert "confidence: 0.9 probability instead of 0.8 probability" in section(
        PAGES["own policy"](), "Limits and cautions"
    )
    assert "of this farm" not in section(PAGES["full"](), "Limits and cautions")


def test_a_farm_has_a_row_and_a_part_for_each_block() -> None:
    html = PAGES["farm"]()
    found, text = Page(html), section(PAGES["farm"](), "All blocks")
    headings = [" ".join(item.text.split()) for item in found.all("h2")]
    assert headings == [
        "In short",
        "The blocks",
        "All blocks",
        "What to try next year on the farm",
        "North",
        " ".join(HOSTILE.split()),
        "Limits and cautions",
        "Sources",
    ]
    area = block().area_ac()
    logged = 52.5 * area  # ten weeks at 5.25
    assert f"North 1 of 3 {in_words.share(full().days)} 1 of 1 2 {logged:.2f}" in text.replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert f"Logged {3 * logged:,.1f}" in text
    tries = section(html, "What to try next year on the farm")
    assert "North: no log for weeks 11 to 12 of 12" in tries
    assert f"{HOSTILE}: no log for weeks 11 to 12 of 12" in tries
    assert [item.text for item in found.all("h3")].count("After each change") == 2


def test_the_same_arguments_give_the_same_page() -> None:
    assert PAGES["full"]() == PAGES["full"]()
    assert PAGES["farm"]() == PAGES["farm"]()
