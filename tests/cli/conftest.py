"""The command line run in process, on the sample season as it was lived."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import date
from importlib import import_module
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from fertadjust.cli import cli
from fertadjust.demo import build, replay
from fertadjust.shipped import folder

TODAY = date(2026, 5, 20)
"""The day on which every command of these tests is given."""

Run = Callable[..., Result]
Refused = Callable[..., str]


def contents(where: Path) -> dict[str, bytes]:
    """Bytes of every file of a folder."""
    return {str(path.relative_to(where)): path.read_bytes() for path in where.rglob("*") if path.is_file()}


def too_wide(text: str) -> list[str]:
    """Lines that do not fit a screen of 80 columns."""
    return [line for line in text.splitlines() if len(line) > 80]


@pytest.fixture(scope="session")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample season with all its records. Not to be written to."""
    season = build(tmp_path_factory.mktemp("sample") / "farm")
    list(replay(season))
    return season.file.folder


@pytest.fixture
def lived(sample: Path, tmp_path: Path) -> Path:
    """A copy of the sample season with all its records."""
    return Path(shutil.copytree(sample, tmp_path / "lived"))


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    """The sample season's plan without records."""
    where = tmp_path / "fresh"
    where.mkdir()
    shutil.copy(folder("sample_data") / "strawberry" / "season.toml", where)
    return where


@pytest.fixture(autouse=True)
def _the_day(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("FERTADJUST_SEASON", "FERTADJUST_BY", "FERTADJUST_DEBUG"):
        monkeypatch.delenv(name, raising=False)
    for name in (
        "common",
        "across",
        "advise",
        "blend",
        "choose",
        "decide",
        "feeding",
        "log",
        "overview",
        "pages",
        "records",
        "reports",
        "results",
        "review",
        "stages",
    ):
        monkeypatch.setattr(import_module(f"fertadjust.cli.{name}"), "today", lambda: TODAY)
    for name in ("api", "season_book"):
        monkeypatch.setattr(f"fertadjust.{name}.today_here", lambda: TODAY)


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Run]:
    """Run a command; nobody answers a question unless ``input`` is given."""
    monkeypatch.chdir(tmp_path)

    def call(*args: object, input: str | None = None, code: int = 0) -> Result:  # noqa: A002
        result = CliRunner().invoke(cli, [str(arg) for arg in args], input=input)
        assert result.exception is None or isinstance(result.exception, SystemExit), repr(result.exception)
        assert "Traceback" not in result.output
        assert result.exit_code == code, result.output[-1500:]
        return result

    yield call


@pytest.fixture
def refused(run: Run, tmp_path: Path) -> Refused:
    """Run a command that has to end with status 2 and write nothing; what it said was wrong."""

    def call(*args: object, input: str | None = None) -> str:  # noqa: A002
        before = contents(tmp_path)
        result = run(*args, input=input, code=2)
        assert contents(tmp_path) == before
        assert "Error: " in result.stderr
        return result.stderr

    return call
