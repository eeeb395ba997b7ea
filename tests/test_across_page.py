"""The page of one result across tables: sound HTML, whatever people wrote. All figures are invented."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import pytest

from fertadjust.across import Across, verdicts
from fertadjust.across_page import across_html, drawn_across
from fertadjust.across_words import summary
from fertadjust.tissue import Basis
from tests.test_report import CHART, HOSTILE, Page
from tests.test_table_choice import FLOWER, GENERAL, beside, of, stages

PLAIN = beside("watermelon", "1100", FLOWER)
WORDED = ("title", "region", "system", "part")
NASTY = verdicts(
    [
        table.model_copy(update=dict.fromkeys(WORDED, HOSTILE) | {"notes": (HOSTILE,)})
        for table in of("watermelon")
    ],
    replace(PLAIN.result, note=HOSTILE, laboratory=HOSTILE, reported=HOSTILE, record=12),
    FLOWER,
    GENERAL,
)
FOUND = {
    "disagreeing": PLAIN,
    "no stage": beside("tomato", "640", stages()),
    "bound": beside("watermelon", "<1100", FLOWER),
    "one edge": beside("strawberry", "900", stages(), basis=Basis.DRY),
    "another nutrient": beside("watermelon", "4500", FLOWER, analyte="K"),
    "nothing": beside("spinach", "500", stages()),
    "hostile": NASTY,
}


def html_of(found: Across, *charts: tuple[str, str], name: str = "") -> str:
    return across_html(
        found, FLOWER, crop="watermelon", farm=name, block=name, charts=charts, program="fertadjust"
    )


@pytest.fixture(params=list(FOUND), name="page")
def _page(request: pytest.FixtureRequest) -> Page:
    name = HOSTILE if request.param == "hostile" else ""
    return Page(html_of(FOUND[request.param], (CHART, CHART), name=name))


def test_a_page_is_sound_and_self_contained(page: Page) -> None:
    assert page.html.startswith("<!DOCTYPE html>")
    assert not page.all("script", "iframe", "link", "img", "form")
    assert not re.search(r"\son\w+=", page.html)
    policy = next(item for item in page.all("meta") if item.attrs.get("http-equiv"))
    assert "default-src 'none'" in str(policy.attrs["content"])
    assert len(page.all("h1")) == 1
    assert [item.name for item in page.all("header", "main", "footer")] == ["header", "main", "footer"]
    assert page.all("html")[0].attrs["lang"] == "en"
    assert "None " not in page.text.replace("None of them", "")


def test_headings_do_not_skip_a_level(page: Page) -> None:
    levels = [int(item.name[1]) for item in page.all("h1", "h2", "h3")]
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))


def test_tables_have_captions_and_scopes_and_scroll_in_a_named_region(page: Page) -> None:
    assert len(page.all("caption")) == len(page.all("table"))
    assert all(item.attrs.get("scope") in {"col", "row"} for item in page.all("th"))
    regions = [item for item in page.all("div") if item.attrs.get("role") == "region"]
    assert len(regions) == len(page.all("table")) + 2
    assert all(item.attrs["tabindex"] == "0" and item.attrs["aria-label"] for item in regions)


def test_what_people_wrote_is_text_and_set_apart() -> None:
    page = Page(html_of(NASTY, name=HOSTILE))
    assert "<script" not in page.html.lower()
    apart = [item.text for item in page.all("bdi")]
    assert page.text.count("alert('x')") == sum(text.count("alert('x')") for text in apart)
    assert sum("alert('x')" in text for text in apart) >= 10


def test_the_page_says_what_places_the_bands() -> None:
    text = " ".join(Page(html_of(PLAIN)).text.split())
    assert "The bands are those of Mon 4 May 2026; the stages are dated vines 6 inch" in text
    assert "Placed by stage" not in text


@pytest.mark.parametrize("name", list(FOUND))
def test_the_verdicts_their_evidence_and_sources_are_on_the_page(name: str) -> None:
    found = FOUND[name]
    page = Page(html_of(found))
    text = " ".join(page.text.split())
    assert summary(found).replace(" %", "\N{NO-BREAK SPACE}%") in page.text
    for item in found.verdicts:
        assert item.table.id in text
        for judged in item.places:
            assert judged.band.label in text
            assert judged.band.evidence.value in text
    for other in found.others:
        assert other.why in text
    assert ("recalled: check before relying on it" in text) == any(
        judged.band.evidence.value == "recalled" for item in found.verdicts for judged in item.places
    )


def test_the_page_is_drawn_twice_and_comes_out_the_same() -> None:
    first, second = (drawn_across(PLAIN, FLOWER, crop="watermelon", program="fertadjust") for _ in range(2))
    assert first == second
    assert first.count("<svg") == 2
    assert "<svg" not in drawn_across(FOUND["nothing"], FLOWER, crop="spinach", program="fertadjust")
