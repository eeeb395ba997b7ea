"""``study``: the findings that ship, and a short run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from fertadjust.cli import cli
from fertadjust.simulation_files import findings, study_plan


def test_it_prints_the_findings_that_ship() -> None:
    shown = CliRunner().invoke(cli, ["study"])
    assert shown.exit_code == 0
    assert shown.output.strip() == findings().strip()


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
