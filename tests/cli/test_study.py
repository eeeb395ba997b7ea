"""``study``: the findings that ship, and a short run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from fertadjust.cli import cli
from fertadjust.simulation_files import FINDINGS, findings, findings_folder, study_plan
from tests.cli.conftest import Refused, Run, contents, too_wide


def words(text: str) -> str:
    return " ".join(text.replace("`", "").split())


def test_it_prints_the_findings_that_ship_folded_to_the_screen(run: Run) -> None:
    output = run("study").output
    where = str(findings_folder() / "findings.md")
    assert [line for line in too_wide(output) if line != where] == []
    shown = words(output)
    text = [line for line in findings().splitlines() if not line.startswith(("#", "|", "!["))]
    for paragraph in "\n".join(text).replace("\n- ", "\n\n- ").split("\n\n"):
        assert words(paragraph) in shown


def test_it_leaves_tables_picture_and_marks_out_and_says_where_they_are(run: Run) -> None:
    output = run("study").output
    assert not any(mark in output for mark in ("| ", "![", "`", "## ", "---"))
    assert "What was found\n- " in output
    assert f"\n{findings_folder() / 'findings.md'}\n" in output
    assert "fertadjust study --to FOLDER" in output


def test_a_section_of_nothing_but_a_table_is_left_out(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    page = "# One\n\nTwo `three`.\n\n## Four\n\n| a | b |\n| --- | --- |\n| 1 | 2 |\n\n## Five\n\n- six\n- seven\n"
    monkeypatch.setattr("fertadjust.simulation_files.findings", lambda: page)
    assert run("study").output.startswith("One\nTwo three.\n\nFive\n- six\n- seven\n\n")


def test_the_findings_are_copied_to_a_folder(run: Run, tmp_path: Path) -> None:
    assert "Wrote mine/findings.md, findings.json and findings.svg" in run("study", "--to", "mine").output
    assert contents(tmp_path / "mine") == {name: (findings_folder() / name).read_bytes() for name in FINDINGS}


@pytest.mark.parametrize("args", [(), ("--run",)], ids=["copy", "run"])
def test_a_folder_that_cannot_be_written_to_is_told_before_anything_runs(
    refused: Refused, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, args: tuple[str, ...]
) -> None:
    """A file in place of the folder, and a folder in place of one of the files."""
    monkeypatch.setattr("fertadjust.simulate.study.study", pytest.fail)
    (tmp_path / "file").write_text("no folder")
    (tmp_path / "mine" / "findings.json").mkdir(parents=True)
    assert "cannot be written: " in refused("study", *args, "--to", "file")
    assert "mine/findings.json: cannot be written: it is a folder" in refused("study", *args, "--to", "mine")
    assert not (tmp_path / "mine" / "findings.md").exists()


def test_numbers_of_a_run_are_refused_without_one(refused: Refused) -> None:
    told = refused("study", "--seasons", 20, "--processes", 1)
    assert "--seasons: is for a new run; add --run" in told and "--processes: is for a new run" in told


def test_a_short_run_writes_text_figures_and_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = study_plan()
    tuning = plan.tuning.model_copy(update={"scenarios": ("usual",)})
    report = plan.report.model_copy(update={"scenarios": ("usual",), "guards_in": ("usual",)})
    shorter = plan.model_copy(update={"tuning": tuning, "report": report, "trials": plan.trials[:1]})
    monkeypatch.setattr("fertadjust.simulation_files.study_plan", lambda: shorter)
    to = tmp_path / "found"
    done = CliRunner().invoke(cli, ["study", "--run", "--seasons", "10", "--to", str(to), "--processes", "1"])
    assert done.exit_code == 0, done.output
    assert sorted(path.name for path in to.iterdir()) == ["findings.json", "findings.md", "findings.svg"]
    data = json.loads((to / "findings.json").read_text(encoding="utf-8"))
    assert data["plan"]["report"]["seasons"] == 10
    assert "findings.svg" in (to / "findings.md").read_text(encoding="utf-8")
    assert (to / "findings.svg").read_text(encoding="utf-8").startswith("<?xml")


def test_seasons_out_of_range_are_refused() -> None:
    refused = CliRunner().invoke(cli, ["study", "--run", "--seasons", "3"])
    assert refused.exit_code == 2
    assert "3" in refused.output
