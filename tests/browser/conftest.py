"""One browser for all tests of this folder, and the pages, each made once."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from fertadjust.api import Season
from fertadjust.demo import build, replay
from tests.browser.installed import NO_BROWSER, installed_browser
from tests.browser.pages import HOSTILE_PAGES, PAGES

Written = Callable[[str], Path]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """The installed browser, opened once."""
    program = installed_browser()
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=program, chromium_sandbox=not root)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """Name of a page -> its file, made when it is first asked for."""
    seasons: list[Season] = []
    files: dict[str, Path] = {}

    def write(name: str) -> Path:
        if name not in files:
            if not seasons:
                seasons.append(build(tmp_path_factory.mktemp("sample") / "farm"))
                list(replay(seasons[0]))
            make = PAGES[name].make if name in PAGES else HOSTILE_PAGES[name.removeprefix("hostile ")]
            html = make(seasons[0], tmp_path_factory.mktemp("season"))
            files[name] = tmp_path_factory.mktemp("page") / "page.html"
            files[name].write_text(html, encoding="utf-8")
        return files[name]

    return write


@pytest.fixture(scope="session", params=PAGES)
def name(request: pytest.FixtureRequest) -> str:
    """Each page of the table in turn."""
    return str(request.param)


@pytest.fixture(scope="session")
def file(name: str, written: Written) -> Path:
    return written(name)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say that the pages were not looked at, which a row of dots and letters does not."""
    skipped = [
        report for report in terminalreporter.stats.get("skipped", []) if NO_BROWSER in str(report.longrepr)
    ]
    if skipped:
        terminalreporter.write_line(f"{len(skipped)} tests skipped: {NO_BROWSER}, so no page was looked at in one")
