"""Every page on the screen: it fetches nothing, fits each window, and can be read by eye, keyboard and ear."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser

from tests.browser import contrast
from tests.browser.looking import LAPTOP, PHONE, TABLET, Visit, visit

MEASURED_HERE = {"color-contrast"}
"""What axe may leave open, since `test_every_text_stands_out_from_its_background` measures it."""


BRIEF = {"resultTypes": ["violations", "incomplete"]}
"""All default rules; what passed is told with one example each."""


def skipped_levels(headings: list[tuple[int, str]]) -> list[str]:
    """Headings that lie more than one level below the one before them."""
    before, found = 0, []
    for level, text in headings:
        if level > before + 1:
            found.append(text)
        before = level
    return found


def unheaded(tables: list[dict[str, Any]]) -> list[str]:
    """Tables without caption or headings, or whose headings do not say what they head."""
    scopes = {"col", "row", "colgroup", "rowgroup"}
    return [
        table["caption"] or "table without a caption"
        for table in tables
        if not table["caption"] or not table["heads"] or not set(table["scopes"]) <= scopes
    ]


def tabbed_through(found: Visit) -> list[dict[str, Any]]:
    """What has the focus after each press of the Tab key, until it leaves the page."""
    stops: list[dict[str, Any]] = []
    while len(stops) < 200:
        found.page.keyboard.press("Tab")
        at = found.measured("focused")
        if at is None or at in stops:
            break
        stops.append(at)
    return stops


@pytest.fixture(scope="module")
def laptop(browser: Browser, file: Path) -> Iterator[Visit]:
    """The page on a laptop, open to axe, which the page's own policy would keep out."""
    with visit(browser, file, LAPTOP, bypass_csp=True) as found:
        yield found


@pytest.fixture(scope="module")
def phone(browser: Browser, file: Path) -> Iterator[Visit]:
    """The page on a phone, open to axe."""
    with visit(browser, file, PHONE, bypass_csp=True) as found:
        yield found


def test_nothing_is_fetched_and_nothing_is_complained_of(browser: Browser, file: Path) -> None:
    with visit(browser, file) as found:
        found.page.wait_for_load_state("networkidle")
        assert found.requests == [found.url]
        assert found.trouble == []
        assert found.dialogs == []


@pytest.mark.parametrize("width", [PHONE, TABLET, LAPTOP])
def test_the_page_does_not_scroll_sideways(laptop: Visit, width: int) -> None:
    with laptop.wide(width):
        assert laptop.measured("scrolledSideways") == 0


def test_on_a_phone_nothing_sticks_out_but_in_regions_that_scroll(phone: Visit) -> None:
    assert phone.measured("sticksOut") == []


@pytest.mark.parametrize("window", ["phone", "laptop"])
def test_axe_finds_no_fault(window: str, phone: Visit, laptop: Visit) -> None:
    found = {"phone": phone, "laptop": laptop}[window]
    results = Axe().run(found.page, options=BRIEF)
    assert results.violations_count == 0, results.generate_report()
    assert any(rule["id"] == "color-contrast" for rule in results.response["passes"])
    assert {rule["id"] for rule in results.response["incomplete"]} <= MEASURED_HERE


@pytest.mark.parametrize(("window", "media"), [("phone", "screen"), ("laptop", "screen"), ("laptop", "print")])
def test_every_text_stands_out_from_its_background(window: str, media: Any, phone: Visit, laptop: Visit) -> None:
    """A drawing may lie partly outside a phone's window; it has the colours there that it has on a laptop."""
    found = {"phone": phone, "laptop": laptop}[window]
    with found.tall(media):
        texts = found.measured("colours")
        drawn = found.page.locator("svg:visible text").count()
    assert sum(text["count"] for text in texts) > 50
    assert sum(text["count"] for text in texts if text["drawn"]) == drawn
    assert contrast.too_faint([text for text in texts if text["inside"] or window == "laptop"]) == []


def test_language_title_headings_and_landmarks(laptop: Visit) -> None:
    outline = laptop.measured("outline")
    levels = [level for level, _ in outline["headings"]]
    assert outline["lang"] == "en"
    assert outline["title"]
    assert outline["mains"] == 1
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert skipped_levels(outline["headings"]) == []
    assert all(text for _, text in outline["headings"])


def test_every_table_says_what_it_holds(laptop: Visit) -> None:
    tables = laptop.measured("outline")["tables"]
    assert tables
    assert unheaded(tables) == []


def test_the_keyboard_reaches_every_region_that_scrolls(phone: Visit) -> None:
    there = phone.measured("numberFocusable")
    reached = tabbed_through(phone)
    assert [at["stop"] for at in reached] == there["stops"]
    assert set(there["scrolling"]) <= set(there["stops"])
    for at in reached:
        assert at["outline"] not in {"none", "hidden"} and at["width"] >= 1, at
        assert at["seen"], at
        assert at["label"] and at["role"] == "region", at


def test_the_arrow_keys_scroll_every_region(phone: Visit) -> None:
    for stop in phone.measured("numberFocusable")["scrolling"]:
        phone.page.locator(f'[data-stop="{stop}"]').focus()
        phone.page.keyboard.press("ArrowRight")
        phone.page.wait_for_function("document.activeElement.scrollLeft > 0", timeout=3000)


def test_without_scripts_the_page_says_the_same(browser: Browser, file: Path, laptop: Visit) -> None:
    said = laptop.page.inner_text("body")
    with visit(browser, file, java_script_enabled=False) as found:
        assert found.page.inner_text("body") == said
    assert len(said) > 500


# --- the checks can fail ------------------------------------------------------------------------------------

BAD = """<!DOCTYPE html><html><head><title>Bad</title><style>
.scroll { overflow-x: auto } .scroll:focus { outline: none } .grey { color: #8a8a8a } .cut { overflow: hidden }
.wide { width: 900px; white-space: nowrap }
</style></head><body><h1>One</h1><h3>Three</h3><p class="grey">faint</p><p class="wide">wide</p>
<div class="cut" style="width: 50px"><div class="wide">cut</div></div>
<div class="scroll"><div class="wide">not reached</div></div>
<div class="scroll" tabindex="0"><div class="wide">reached</div></div>
<svg width="200" height="60"><rect width="200" height="60" fill="#fff"/><rect width="100" height="60" fill="#333"/>
<text x="10" y="30" fill="#555">dark on dark</text><text x="120" y="30" fill="#222">well</text></svg>
<table><tr><th>a</th></tr></table><img src="missing.png" alt=""></body></html>"""


@pytest.fixture
def bad(tmp_path: Path) -> Path:
    path = tmp_path / "bad.html"
    path.write_text(BAD, encoding="utf-8")
    return path


def test_a_bad_page_is_noticed(browser: Browser, bad: Path) -> None:
    with visit(browser, bad, PHONE, bypass_csp=True) as found:
        assert len(found.requests) == 2
        assert any("missing.png" in text for text in found.trouble)
        assert found.measured("scrolledSideways") > 0
        out = found.measured("sticksOut")
        assert any("wide> wide" in text for text in out)
        assert any(text.startswith("cut off:") for text in out)
        assert any("not reached" in text for text in out)
        assert not any("> reached" in text for text in out)
        outline = found.measured("outline")
        assert skipped_levels(outline["headings"]) == ["Three"]
        assert (outline["lang"], outline["mains"], len(unheaded(outline["tables"]))) == ("", 0, 1)
        there = found.measured("numberFocusable")
        assert not set(there["scrolling"]) <= set(there["stops"])
        assert "none" in {at["outline"] for at in tabbed_through(found)}
        violations = {rule["id"] for rule in Axe().run(found.page, options={}).response["violations"]}
        assert {"html-has-lang", "color-contrast", "landmark-one-main", "heading-order"} <= violations


def test_faint_text_is_noticed_in_the_page_and_in_a_drawing(browser: Browser, bad: Path) -> None:
    with visit(browser, bad) as found, found.tall("screen"):
        faint = contrast.too_faint(found.measured("colours"))
    assert len(faint) == 2, faint
    assert "dark on dark" in faint[1]
    assert faint[0] == "3.45:1 where 4.5:1 is needed: <p grey> faint"


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        # black and white stand furthest apart: 21:1 (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio, note 1)
        ((0, 0, 0), (1, 1, 1), 21.0),
        ((0.5, 0.5, 0.5), (0.5, 0.5, 0.5), 1.0),
        # worked by hand from the formula: L of #777777 is 0.18447, so 1.05 / 0.23447
        ((0x77 / 255,) * 3, (1, 1, 1), 4.478),
        # L of pure red is its weight, 0.2126: 1.05 / 0.2626
        ((1, 0, 0), (1, 1, 1), 3.998),
    ],
)
def test_the_contrast_ratio_follows_its_definition(
    one: contrast.Colour, other: contrast.Colour, expected: float
) -> None:
    assert contrast.ratio(one, other) == pytest.approx(expected, abs=0.001)
    assert contrast.ratio(other, one) == contrast.ratio(one, other)


@pytest.mark.parametrize(
    ("size", "weight", "expected"),
    [(23.9, 400, 4.5), (24, 400, 3), (18.66, 700, 3), (18.6, 700, 4.5), (20, 600, 4.5)],
)
def test_large_text_needs_less(size: float, weight: int, expected: float) -> None:
    assert contrast.needed(size, weight) == expected
