"""``chart`` and ``report``."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Refused, Run, contents

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
