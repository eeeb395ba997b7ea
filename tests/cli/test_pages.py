"""``chart`` and ``report``."""

from __future__ import annotations

import os
import struct
from pathlib import Path
from xml.etree import ElementTree

import pytest

from fertadjust.browser import Paper
from fertadjust.errors import FertadjustError
from tests.cli.conftest import Refused, Run, contents, too_wide

CREEK = ["--block", "creek", "--on", "2026-04-04"]


@pytest.mark.parametrize(
    ("name", "begins"),
    [("a.png", b"\x89PNG\r\n"), ("a.svg", b"<?xml"), ("a.pdf", b"%PDF-"), ("a.PNG", b"\x89PNG")],
)
def test_a_chart_is_written_in_the_kind_its_name_says(
    run: Run, lived: Path, tmp_path: Path, name: str, begins: bytes
) -> None:
    before = contents(lived)
    assert run("chart", *CREEK, "--season", lived, "--to", name).output == f"Wrote {name}\n"
    assert (tmp_path / name).read_bytes().startswith(begins)
    assert contents(lived) == before


@pytest.mark.parametrize("name", ["a.bmp", "a", "a.png.txt", "png"])
def test_a_chart_of_another_kind_is_refused(refused: Refused, lived: Path, name: str) -> None:
    told = refused("chart", *CREEK, "--season", lived, "--to", name)
    assert f'"{name}": a chart is written as .png, .svg, .pdf; use one of these' in told


def test_a_chart_is_named_by_block_and_day(run: Run, lived: Path, tmp_path: Path) -> None:
    assert run("chart", *CREEK, "--season", lived).output == "Wrote creek-2026-04-04.png\n"
    assert (tmp_path / "creek-2026-04-04.png").exists()


def test_a_report_is_one_page(run: Run, lived: Path, tmp_path: Path) -> None:
    before = contents(lived)
    assert run("report", *CREEK, "--season", lived, "--to", "pages/a.html").output == "Wrote pages/a.html\n"
    page = (tmp_path / "pages" / "a.html").read_text(encoding="utf-8")
    assert page.lstrip().lower().startswith("<!doctype html>")
    assert page.rstrip().endswith("</html>")
    assert "Creek side" in page
    assert "<svg" in page
    assert contents(lived) == before


def test_a_report_is_named_by_block_and_day(run: Run, lived: Path, tmp_path: Path) -> None:
    assert run("report", "--block", "Lane end", "--season", lived).output == "Wrote lane-2026-05-20.html\n"
    assert (tmp_path / "lane-2026-05-20.html").exists()


@pytest.mark.parametrize("name", ["x.png", "x", "x.svg", "x.html.txt", "html"])
@pytest.mark.parametrize("paper", [[], ["--paper", "a4"]])
def test_a_report_of_another_kind_is_refused(refused: Refused, lived: Path, name: str, paper: list[str]) -> None:
    told = refused("report", *CREEK, "--season", lived, "--to", name, *paper)
    assert told == f'Error: "{name}": a report is written as .html or .pdf; use one of these\n'


@pytest.mark.parametrize("name", ["a.htm", "a.HTML"])
def test_a_page_may_be_named_as_pages_are(run: Run, lived: Path, tmp_path: Path, name: str) -> None:
    run("report", *CREEK, "--season", lived, "--to", name)
    assert (tmp_path / name).read_text("utf-8").lstrip().lower().startswith("<!doctype html>")


@pytest.mark.parametrize("command", ["chart", "report"])
def test_a_season_without_a_record_has_its_pages(run: Run, fresh: Path, tmp_path: Path, command: str) -> None:
    run(command, "--block", "creek", "--on", "2026-03-01", "--season", fresh)
    assert len([path for path in tmp_path.iterdir() if path.is_file()]) == 1


@pytest.mark.parametrize("command", ["chart", "report"])
def test_the_block_is_asked_for(run: Run, refused: Refused, lived: Path, command: str) -> None:
    assert "--block: is missing, and there is nobody to ask" in refused(command, "--season", lived)
    assert "Wrote hill-2026-05-20." in run(command, "--season", lived, input="hill\n").output


@pytest.mark.parametrize(("command", "name"), [("chart", "x.png"), ("report", "x.html")])
def test_a_place_that_cannot_be_written_is_told(
    refused: Refused, lived: Path, tmp_path: Path, command: str, name: str
) -> None:
    (tmp_path / "pages").write_text("not a folder")
    assert "cannot be written" in refused(command, *CREEK, "--season", lived, "--to", f"pages/{name}")


@pytest.mark.parametrize("command", ["chart", "report"])
def test_an_unknown_block_is_told(refused: Refused, lived: Path, command: str) -> None:
    assert 'there is no block "brook"' in refused(command, "--block", "brook", "--season", lived)


# --- all blocks on one sheet, and a phone's paper ---------------------------------------------------------------


def png_size(path: Path) -> tuple[int, int]:
    """Width and height of a PNG file [pixels] (PNG specification, IHDR)."""
    wide, high = struct.unpack(">II", path.read_bytes()[16:24])
    return wide, high


def svg_words(path: Path) -> str:
    return " ".join("".join(ElementTree.parse(path).getroot().itertext()).split())


@pytest.mark.parametrize(
    ("options", "name"),
    [
        (["--all"], "all-blocks-2026-04-04.png"),
        (["--overview"], "overview-2026-04-04.png"),
        (["--block", "creek", "--phone"], "creek-2026-04-04.png"),
        (["--all", "--phone"], "all-blocks-2026-04-04.png"),
        (["--overview", "--phone"], "overview-2026-04-04.png"),
    ],
)
def test_every_chart_has_a_name_of_its_own_and_leaves_the_season_alone(
    run: Run, lived: Path, tmp_path: Path, options: list[str], name: str
) -> None:
    before = contents(lived)
    assert run("chart", *options, "--on", "2026-04-04", "--season", lived).output == f"Wrote {name}\n"
    assert (tmp_path / name).read_bytes().startswith(b"\x89PNG\r\n")
    assert contents(lived) == before


def test_the_day_of_a_sheet_is_today_by_default(run: Run, lived: Path) -> None:
    assert run("chart", "--overview", "--season", lived).output == "Wrote overview-2026-05-20.png\n"


def test_all_blocks_stand_on_one_sheet(run: Run, lived: Path, tmp_path: Path) -> None:
    for option, first in (("--all", "All blocks as known on"), ("--overview", "Where each block lay in its band")):
        run("chart", option, "--on", "2026-05-16", "--season", lived, "--to", "a.svg")
        told = svg_words(tmp_path / "a.svg")
        assert first in told
        for name in ("Creek side", "Hill top", "Lane end"):
            assert name in told


@pytest.mark.parametrize("what", [["--block", "creek"], ["--all"], ["--overview"]])
def test_a_phones_chart_is_narrow(run: Run, lived: Path, tmp_path: Path, what: list[str]) -> None:
    given = ["chart", *what, "--on", "2026-04-04", "--season", lived]
    run(*given, "--to", "wide.png")
    run(*given, "--phone", "--to", "narrow.png")
    wide, narrow = png_size(tmp_path / "wide.png"), png_size(tmp_path / "narrow.png")
    assert narrow[0] < wide[0] / 2
    assert narrow[0] < narrow[1]


@pytest.mark.parametrize(
    "options",
    [["--all", "--overview"], ["--block", "creek", "--all"], ["--block", "creek", "--overview"]],
)
def test_only_one_kind_of_chart_is_drawn_at_a_time(refused: Refused, lived: Path, options: list[str]) -> None:
    told = refused("chart", *options, "--on", "2026-04-04", "--season", lived)
    assert "give one of --block, --all and --overview" in told


@pytest.mark.parametrize("option", ["--all", "--overview"])
def test_a_sheet_of_another_kind_of_file_is_refused(refused: Refused, lived: Path, option: str) -> None:
    told = refused("chart", option, "--season", lived, "--to", "a.bmp")
    assert '"a.bmp": a chart is written as .png, .svg, .pdf; use one of these' in told


@pytest.mark.parametrize("option", ["--all", "--overview"])
def test_a_season_without_a_record_has_its_sheets(run: Run, fresh: Path, tmp_path: Path, option: str) -> None:
    run("chart", option, "--on", "2026-03-01", "--season", fresh, "--to", "a.svg")
    assert "no result" in svg_words(tmp_path / "a.svg")


# --- the report as PDF ------------------------------------------------------------------------------------------

Printed = list[tuple[str, Paper]]


@pytest.fixture
def printed(monkeypatch: pytest.MonkeyPatch) -> Printed:
    """Pages that were given to the browser, with their paper; in its place stands one that prints at once."""
    pages: Printed = []

    def pdf_of(html: str, paper: Paper) -> bytes:
        pages.append((html, paper))
        return b"%PDF-1.4 of a stand-in"

    monkeypatch.setattr("fertadjust.browser.pdf_of", pdf_of)
    return pages


@pytest.mark.parametrize("name", ["a.pdf", "a.PDF", "pages/a.pdf"])
def test_a_report_is_printed_to_pdf_by_its_name(
    run: Run, lived: Path, tmp_path: Path, printed: Printed, name: str
) -> None:
    before = contents(lived)
    assert run("report", *CREEK, "--season", lived, "--to", name).output == f"Wrote {name}\n"
    assert (tmp_path / name).read_bytes() == b"%PDF-1.4 of a stand-in"
    ((page, paper),) = printed
    assert page.lstrip().lower().startswith("<!doctype html>") and "Creek side" in page
    assert paper is Paper.LETTER
    assert contents(lived) == before


def test_the_paper_follows_the_units(run: Run, lived: Path, printed: Printed) -> None:
    plan = lived / "season.toml"
    text = plan.read_text("utf-8")
    assert 'units = "us"' in text
    plan.write_text(text.replace('units = "us"', 'units = "metric"'), "utf-8")
    run("report", *CREEK, "--season", lived, "--to", "a.pdf")
    assert [paper for _, paper in printed] == [Paper.A4]


@pytest.mark.parametrize(("name", "paper"), [("letter", Paper.LETTER), ("a4", Paper.A4)])
def test_a_paper_may_be_named(run: Run, lived: Path, printed: Printed, name: str, paper: Paper) -> None:
    run("report", *CREEK, "--season", lived, "--to", "a.pdf", "--paper", name)
    assert [paper for _, paper in printed] == [paper]


@pytest.mark.parametrize("to", [["--to", "a.html"], ["--to", "a.HTM"], []])
def test_a_paper_without_a_pdf_is_refused(refused: Refused, lived: Path, printed: Printed, to: list[str]) -> None:
    told = refused("report", *CREEK, "--season", lived, *to, "--paper", "a4")
    assert "--paper is for a PDF: let the name after --to end in .pdf" in told
    assert printed == []


def test_another_paper_is_refused(refused: Refused, lived: Path) -> None:
    told = refused("report", *CREEK, "--season", lived, "--to", "a.pdf", "--paper", "a5")
    assert "letter" in told and "a4" in told


def test_without_a_browser_the_way_out_is_told(
    refused: Refused, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fertadjust.browser.find_browser", lambda: None)
    told = refused("report", *CREEK, "--season", lived, "--to", "a.pdf")
    assert "no browser was found that prints to PDF" in told
    assert "Open the HTML page in any browser and print it to PDF" in told
    assert "FERTADJUST_BROWSER=" in told
    assert not too_wide(told)


def test_a_browser_that_is_not_there_is_told(
    refused: Refused, lived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FERTADJUST_BROWSER", "/no/such/browser")
    told = refused("report", *CREEK, "--season", lived, "--to", "a.pdf")
    assert "FERTADJUST_BROWSER" in told and '"/no/such/browser" is not there' in told


def stand_in(path: Path, script: str) -> None:
    """A program in the place of a browser."""
    path.write_text("#!/bin/sh\n" + script)
    path.chmod(0o755)


@pytest.mark.skipif(os.name == "nt", reason="the stand-in for a browser is a shell script")
def test_the_browser_that_the_environment_names_prints(
    run: Run, lived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    look = 'for word in "$@"; do case "$word" in --print-to-pdf=*) pdf=${word#--print-to-pdf=};; esac; done\n'
    stand_in(tmp_path / "surf", look + 'printf "%%PDF-1.4 of a stand-in" > "$pdf"\n')
    monkeypatch.setenv("FERTADJUST_BROWSER", str(tmp_path / "surf"))
    assert run("report", *CREEK, "--season", lived, "--to", "a.pdf").output == "Wrote a.pdf\n"
    assert (tmp_path / "a.pdf").read_bytes() == b"%PDF-1.4 of a stand-in"


def test_what_the_program_cannot_do_is_told_in_its_own_words(
    run: Run, lived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(html: str, paper: Paper) -> bytes:
        raise FertadjustError("the browser surf did not end in 60 seconds")

    monkeypatch.setattr("fertadjust.browser.pdf_of", fails)
    ended = run("report", *CREEK, "--season", lived, "--to", "a.pdf", code=1)
    assert ended.stderr == "Error: the browser surf did not end in 60 seconds\n"
    assert ended.stdout == ""
    assert not (tmp_path / "a.pdf").exists()


@pytest.mark.skipif(os.name == "nt", reason="the stand-in for a browser is a shell script")
def test_a_browser_that_fails_leaves_no_file(
    run: Run, lived: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in(tmp_path / "surf", "echo it is broken >&2\nexit 3\n")
    monkeypatch.setenv("FERTADJUST_BROWSER", str(tmp_path / "surf"))
    told = run("report", *CREEK, "--season", lived, "--to", "a.pdf", code=1).stderr
    assert "failed with status 3" in told and "it is broken" in told
    assert told.startswith("Error: the browser ") and told.count("Error") == 1
    assert "not your mistake" not in told
    assert not (tmp_path / "a.pdf").exists()


def test_a_pdf_that_cannot_be_written_is_told(
    refused: Refused, lived: Path, tmp_path: Path, printed: Printed
) -> None:
    (tmp_path / "pages").write_text("not a folder")
    assert "cannot be written" in refused("report", *CREEK, "--season", lived, "--to", "pages/a.pdf")
