"""What people write is shown as they wrote it: nothing of it runs, is fetched, or widens the page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.browser.conftest import Written
from tests.browser.looking import LAPTOP, PHONE, TABLET, Visit, visit
from tests.browser.pages import HOSTILE, HOSTILE_PAGES, HOSTILE_TEXT


@pytest.fixture(scope="module", params=HOSTILE_PAGES)
def file(request: pytest.FixtureRequest, written: Written) -> Path:
    return written(f"hostile {request.param}")


def test_nothing_runs_and_nothing_is_fetched(browser: Browser, file: Path) -> None:
    with visit(browser, file) as found:
        found.page.wait_for_load_state("networkidle")
        assert (found.requests, found.dialogs, found.trouble) == ([found.url], [], [])


@pytest.fixture(scope="module")
def opened(browser: Browser, file: Path) -> Iterator[Visit]:
    """The page without the policy that keeps scripts out."""
    with visit(browser, file, bypass_csp=True) as found:
        found.page.wait_for_load_state("networkidle")
        yield found


def test_nothing_would_run_without_the_policy_of_the_page_either(opened: Visit) -> None:
    assert (opened.requests, opened.dialogs, opened.trouble) == ([opened.url], [], [])
    assert opened.page.locator("script, img").count() == 0


def test_every_text_shows_as_it_was_written(opened: Visit) -> None:
    said = opened.page.inner_text("body")
    whole = opened.page.locator("bdi", has_text=HOSTILE_TEXT).count()
    assert whole >= 3
    assert [text for text in HOSTILE if said.count(text) < whole] == []
    assert HOSTILE_TEXT in opened.page.title()
    assert "49" not in opened.page.title()  # a template inside a name is no template


def test_every_text_of_a_person_is_set_apart_from_the_direction_of_the_page(opened: Visit) -> None:
    assert [text for text in opened.measured("outsideOfBdi") if HOSTILE[5] in text] == []


@pytest.mark.parametrize("width", [PHONE, TABLET, LAPTOP])
def test_long_words_do_not_widen_the_page(opened: Visit, width: int) -> None:
    with opened.wide(width):
        assert opened.measured("scrolledSideways") == 0
        assert opened.measured("sticksOut") == []


def test_a_page_that_runs_something_is_noticed(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "bad.html"
    path.write_text(f'<!DOCTYPE html><title>bad</title><body>{HOSTILE[0]}<p title="{HOSTILE[1]}</p></body>')
    with visit(browser, path) as found:
        found.page.wait_for_load_state("networkidle")
        assert found.dialogs == ["1", "1"]
        assert len(found.requests) == 2
