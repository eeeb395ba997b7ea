"""Printing to PDF: which browser is taken, how it is called, and what is said when it fails."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest
from pypdf import PdfReader

from fertadjust import browser as module
from fertadjust.browser import NAMED_BY, Paper, browser, find_browser, pdf_of
from fertadjust.errors import FertadjustError, UserError
from tests.browser.installed import installed_browser

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the stand-ins for a browser are shell scripts")

HTML = (
    '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>A page</title></head>'
    "<body><h1>Größe 5 µg</h1></body></html>\n"
)
OUTPUT = 'for word in "$@"; do case "$word" in --print-to-pdf=*) pdf=${word#--print-to-pdf=};; esac; done\n'
PRINTS = OUTPUT + 'printf "%%PDF-1.4 of a stand-in" > "$pdf"\n'


def program(path: Path, script: str = PRINTS) -> Path:
    """A stand-in for a browser."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("#!/bin/sh\n" + script)
    path.chmod(0o755)
    return path


@pytest.fixture(autouse=True)
def nothing_installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A computer without a browser, with a folder for temporary files of its own; gives that folder."""
    monkeypatch.delenv(NAMED_BY, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path / "bin"))
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setattr(sys, "platform", "linux")
    temporary = tmp_path / "temporary"
    temporary.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(temporary))
    return temporary


@pytest.fixture
def named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A stand-in that the environment names; a test may write another script into it."""
    path = program(tmp_path / "own" / "surf")
    monkeypatch.setenv(NAMED_BY, str(path))
    monkeypatch.setenv("PATH", os.defpath)  # the stand-ins call sleep and cp
    return path


# --- which browser ------------------------------------------------------------------------------------------


def test_without_a_browser_none_is_found() -> None:
    assert find_browser() is None


@pytest.mark.parametrize("name", ["chromium", "chromium-browser", "google-chrome", "chrome", "microsoft-edge"])
def test_a_browser_on_the_search_path_is_found(tmp_path: Path, name: str) -> None:
    assert find_browser() is None
    path = program(tmp_path / "bin" / name)
    assert find_browser() == browser() == path


def test_the_one_that_the_environment_names_comes_first(tmp_path: Path, named: Path) -> None:
    program(tmp_path / "bin" / "chromium")
    assert find_browser() == named


def test_the_environment_may_name_a_program_of_the_search_path_or_of_the_home_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program(tmp_path / "bin" / "chromium")
    path, own = program(tmp_path / "bin" / "surf"), program(tmp_path / "home" / "surf")
    monkeypatch.setenv(NAMED_BY, "surf")
    assert find_browser() == path
    monkeypatch.setenv(NAMED_BY, "~/surf")
    assert find_browser() == own


def test_an_empty_name_is_no_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = program(tmp_path / "bin" / "chromium")
    monkeypatch.setenv(NAMED_BY, "")
    assert find_browser() == path


@pytest.mark.parametrize("kind", ["missing", "not executable", "folder", "not on the path"])
def test_a_name_that_is_no_program_is_an_error_and_not_ignored(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    program(tmp_path / "bin" / "chromium")
    wrong = tmp_path / "wrong"
    if kind == "not executable":
        program(wrong).chmod(0o644)
    elif kind == "folder":
        wrong.mkdir()
    value = "surf" if kind == "not on the path" else str(wrong)
    monkeypatch.setenv(NAMED_BY, value)
    for ask in (find_browser, browser, lambda: pdf_of(HTML, Paper.A4)):
        with pytest.raises(UserError) as caught:
            ask()
        assert str(caught.value).startswith(f'{NAMED_BY}: "{value}" is not there or may not be run;')


@pytest.mark.parametrize(
    ("system", "environment", "place"),
    [
        ("darwin", "HOME", "Applications/Google Chrome.app/Contents/MacOS/Google Chrome"),
        ("darwin", "HOME", "Applications/Chromium.app/Contents/MacOS/Chromium"),
        ("darwin", "HOME", "Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge"),
        ("win32", "PROGRAMFILES", "Google/Chrome/Application/chrome.exe"),
        ("win32", "PROGRAMFILES(X86)", "Microsoft/Edge/Application/msedge.exe"),
        ("win32", "LOCALAPPDATA", "Chromium/Application/chrome.exe"),
    ],
)
def test_the_usual_places_of_other_systems_are_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, system: str, environment: str, place: str
) -> None:
    path = program(tmp_path / "programs" / place)
    for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(environment, str(tmp_path / "programs"))
    assert path not in module._usual_places()
    assert find_browser() is None
    monkeypatch.setattr(sys, "platform", system)
    assert path in module._usual_places()
    monkeypatch.setattr("shutil.which", lambda name: name if Path(name) == path else None)
    assert find_browser() == path


def test_a_missing_browser_says_what_was_looked_for_and_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(UserError) as caught:
        browser()
    told = str(caught.value)
    assert "chromium-browser, google-chrome," in told
    assert "print dialog" in told
    assert f"{NAMED_BY}=/path/to/program" in told
    assert "/Applications/" not in told
    assert all(len(line) <= 79 for line in told.splitlines())
    monkeypatch.setattr(sys, "platform", "darwin")
    with pytest.raises(UserError, match=r"Looked for /Applications/Google Chrome\.app"):
        pdf_of(HTML, Paper.LETTER)


# --- how it is called ---------------------------------------------------------------------------------------


def test_the_browser_gets_the_page_a_profile_of_its_own_and_no_network(
    tmp_path: Path, named: Path, nothing_installed: Path
) -> None:
    kept = tmp_path / "kept"
    kept.mkdir()
    program(named, PRINTS + f'printf "%s\\n" "$@" > {kept}/words\ncp "${{pdf%.pdf}}.html" {kept}/page.html\n')
    assert pdf_of(HTML, Paper.A4) == b"%PDF-1.4 of a stand-in"
    said = (kept / "words").read_text().splitlines()
    assert {
        "--headless",
        "--no-pdf-header-footer",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-sync",
        "--disable-extensions",
        "--no-default-browser-check",
        "--no-first-run",
    } <= set(said)
    [profile] = [word.partition("=")[2] for word in said if word.startswith("--user-data-dir=")]
    assert Path(profile).is_relative_to(nothing_installed)
    assert said[-1] == Path(profile).with_name("page.html").as_uri()
    shown = (kept / "page.html").read_text(encoding="utf-8")
    assert shown.replace("<style>@page { size: a4; }</style>\n", "") == HTML
    assert shown != HTML


@pytest.mark.parametrize(("user", "without"), [(0, True), (1000, False)])
def test_only_root_does_without_the_sandbox(
    tmp_path: Path, named: Path, monkeypatch: pytest.MonkeyPatch, user: int, without: bool
) -> None:
    program(named, PRINTS + f'printf "%s\\n" "$@" > {tmp_path}/words\n')
    monkeypatch.setattr(os, "geteuid", lambda: user)
    pdf_of(HTML, Paper.A4)
    assert ("--no-sandbox" in (tmp_path / "words").read_text().splitlines()) is without


def test_a_page_without_a_head_is_a_mistake_of_the_caller(named: Path) -> None:
    with pytest.raises(ValueError, match="no head"):
        pdf_of("<p>text</p>", Paper.A4)


# --- what can go wrong --------------------------------------------------------------------------------------


@pytest.mark.usefixtures("named")
def test_nothing_is_left_behind(nothing_installed: Path) -> None:
    pdf_of(HTML, Paper.LETTER)
    assert list(nothing_installed.iterdir()) == []


def test_a_browser_that_is_content_says_nothing(named: Path, capfd: pytest.CaptureFixture[str]) -> None:
    program(named, PRINTS + "echo noise; echo more noise >&2\n")
    pdf_of(HTML, Paper.LETTER)
    assert capfd.readouterr() == ("", "")


def test_a_failing_browser_is_told_with_its_last_words(named: Path, nothing_installed: Path) -> None:
    program(named, PRINTS + 'i=0; while [ $i -lt 50 ]; do i=$((i + 1)); echo "line $i" >&2; done; exit 7\n')
    with pytest.raises(FertadjustError) as caught:
        pdf_of(HTML, Paper.LETTER)
    assert not isinstance(caught.value, UserError)
    told = str(caught.value).splitlines()
    assert told[0] == f"the browser {named} failed with status 7"
    assert told[-1] == "  line 50"
    assert len(told) < 15
    assert list(nothing_installed.iterdir()) == []


def test_a_browser_that_dies_is_told(named: Path) -> None:
    program(named, "kill -SEGV $$\n")
    with pytest.raises(FertadjustError, match="failed with status -11"):
        pdf_of(HTML, Paper.LETTER)


@pytest.mark.parametrize(
    "script", ["", OUTPUT + ': > "$pdf"\n', OUTPUT + 'echo "<html>" > "$pdf"\n', OUTPUT + 'mkdir "$pdf"\n']
)
def test_a_browser_that_ends_well_without_a_pdf_is_an_error(named: Path, script: str) -> None:
    program(named, script)
    with pytest.raises(FertadjustError, match="ended without writing a PDF") as caught:
        pdf_of(HTML, Paper.LETTER)
    assert not isinstance(caught.value, UserError)


def test_a_browser_that_does_not_end_is_ended_with_what_it_started(
    tmp_path: Path, named: Path, nothing_installed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    beats = tmp_path / "beats"
    beating = f"(while :; do echo . >> {beats}; sleep 0.05; done) &\n"
    program(named, f"echo stuck >&2\n{beating}sleep 60\n")
    monkeypatch.setattr(module, "_PATIENCE_S", 0.5)
    begun = time.monotonic()
    with pytest.raises(FertadjustError, match=r"stopped: no PDF after 0\.5 seconds\n  stuck") as caught:
        pdf_of(HTML, Paper.LETTER)
    assert time.monotonic() - begun < 20
    assert not isinstance(caught.value, UserError)
    assert list(nothing_installed.iterdir()) == []
    size = beats.stat().st_size
    time.sleep(0.3)
    assert beats.stat().st_size == size > 0


def test_a_program_that_cannot_be_started_is_told(named: Path) -> None:
    named.write_bytes(b"\x00\x01 no program")
    with pytest.raises(UserError, match="surf: the browser cannot be started: Exec format error"):
        pdf_of(HTML, Paper.LETTER)


# --- a browser that is there --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("paper", "inches"),
    [
        (Paper.LETTER, (8.5, 11.0)),  # ANSI/ASME Y14.1, size A
        (Paper.A4, (210 / 25.4, 297 / 25.4)),  # ISO 216
    ],
)
def test_an_installed_browser_prints_on_the_paper_asked_for(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    nothing_installed: Path,
    paper: Paper,
    inches: tuple[float, float],
) -> None:
    monkeypatch.undo()
    installed_browser()
    monkeypatch.setattr("tempfile.tempdir", str(nothing_installed))
    path = tmp_path / "page.pdf"
    path.write_bytes(pdf_of(HTML, paper))
    [page] = PdfReader(path).pages
    assert (page.mediabox.width / 72, page.mediabox.height / 72) == pytest.approx(inches, abs=0.02)
    assert page.extract_text().split() == ["Größe", "5", "µg"]
    assert list(nothing_installed.iterdir()) == []
