"""``demo``: a spring in one command."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fertadjust.cli import cli
from tests.cli.conftest import Refused, contents, too_wide


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The folder that the command was given in, and what it said. Not to be written to."""
    where = tmp_path_factory.mktemp("demo")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(where)
        return where, CliRunner().invoke(cli, ["demo"])


@pytest.fixture(scope="module")
def melons(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Result]:
    """The same of the second sample season, without its pages."""
    where = tmp_path_factory.mktemp("melons")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(where)
        return where, CliRunner().invoke(cli, ["demo", "melons", "--sample", "watermelon", "--no-pages"])


def test_it_runs_in_an_empty_folder_without_options(shown: tuple[Path, Result]) -> None:
    where, result = shown
    assert result.exit_code == 0, result.output
    assert [path.name for path in where.iterdir()] == ["fertadjust-demo"]
    assert {path.name for path in (where / "fertadjust-demo").iterdir()} == {"season.toml", "records.db", "pages"}


def test_it_writes_a_chart_and_a_report_of_each_block(shown: tuple[Path, Result]) -> None:
    where, result = shown
    pages = {path.name: path.stat().st_size for path in (where / "fertadjust-demo" / "pages").iterdir()}
    assert set(pages) == {
        f"{block}-{page}"
        for block in ("creek", "hill", "lane")
        for page in ("chart.png", "chart.svg", "report.html")
    } | {"all-blocks.png", "summary.html", "review.html"}
    assert min(pages.values()) > 5000
    for name in pages:
        assert f"Wrote fertadjust-demo/pages/{name}\n" in result.output


def test_it_says_what_happened_and_that_it_is_invented(shown: tuple[Path, Result]) -> None:
    _, result = shown
    assert "invented" in result.output.splitlines()[0]
    assert "Raise nitrogen" in result.output
    assert "Cut nitrogen" in result.output
    assert "Hold nitrogen" in result.output
    assert "the grower chose to change: not all the way back at once" in result.output
    assert result.stderr == ""


def test_it_fits_the_screen(shown: tuple[Path, Result]) -> None:
    _, result = shown
    assert too_wide(result.output) == []


def test_the_second_sample_is_metric_fits_the_screen_and_is_invented(melons: tuple[Path, Result]) -> None:
    _, result = melons
    assert result.exit_code == 0 and result.stderr == ""
    assert "(invented)" in result.output.splitlines()[0]
    assert "kg N/ha/week" in result.output and "lb N/ac/week" not in result.output
    assert too_wide(result.output) == []


@pytest.mark.parametrize("sample", ["shown", "melons"])
def test_what_it_proposes_can_be_typed(request: pytest.FixtureRequest, sample: str) -> None:
    where, result = request.getfixturevalue(sample)
    end = result.output.splitlines()[result.output.splitlines().index("Look around, for example:") + 1 :]
    assert len([line for line in end if line.strip().startswith("fertadjust ")]) >= 4
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(where)
        for line in end:
            program, *given = line.split()
            if program == "cd":
                patch.chdir(given[0])
                continue
            assert program == "fertadjust"
            answer = CliRunner().invoke(cli, given)
            assert answer.exit_code == 0, answer.output
            assert answer.output and too_wide(answer.output) == []


def test_a_second_time_in_the_same_folder_is_refused(shown: tuple[Path, Result]) -> None:
    where, _ = shown
    before = contents(where)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(where)
        again = CliRunner().invoke(cli, ["demo"])
    assert again.exit_code == 2
    assert "season.toml: stands already" in again.stderr
    assert "choose another folder" in again.stderr
    assert again.stdout == ""
    assert contents(where) == before


def test_a_season_of_ones_own_is_left_alone(refused: Refused, fresh: Path) -> None:
    assert "stands already" in refused("demo", fresh)


def test_records_without_a_plan_are_left_alone(refused: Refused, lived: Path) -> None:
    (lived / "season.toml").unlink()
    assert "records.db: stands already" in refused("demo", lived, "--no-pages")
