"""What every command has in common: help, version, width, exit status."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import fertadjust
from fertadjust.api import open_season
from fertadjust.cli import cli
from fertadjust.record import Kind
from tests.cli.conftest import Refused, Run, too_wide


def commands(
    group: click.Group = cli, path: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], click.Command]]:
    """Every command and group with its words."""
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        yield (*path, name), command
        if isinstance(command, click.Group):
            yield from commands(command, (*path, name))


ALL = dict(commands())
LEAVES = [words for words, command in ALL.items() if not isinstance(command, click.Group)]


def help_of(words: tuple[str, ...]) -> str:
    result = CliRunner().invoke(cli, [*words, "--help"])
    assert result.exit_code == 0, result.output
    return result.output


def examples(words: tuple[str, ...]) -> list[str]:
    """Command lines of a command's help, those over several lines joined."""
    text = re.sub(r"\\\n\s*", "", help_of(words))
    text = text.replace("Example: ", "")
    return [line.strip() for line in text.splitlines() if line.strip().startswith("fertadjust ")]


def test_the_commands_come_in_the_order_of_a_seasons_work() -> None:
    assert [words[0] for words in ALL if len(words) == 1] == [
        "new",
        "check",
        "bands",
        "rules",
        "stages",
        "results",
        "log",
        "advise",
        "amounts",
        "mix-sheet",
        "minutes",
        "calendar",
        "purchase",
        "blend",
        "materials",
        "credits",
        "decide",
        "decisions",
        "history",
        "review",
        "chart",
        "report",
        "summary",
        "plan",
        "audit",
        "backup",
        "restore",
        "export",
        "import",
        "simulate",
        "study",
        "demo",
    ]
    assert {" ".join(words) for words in ALL if len(words) == 2} == {
        "bands list",
        "bands show",
        "bands candidates",
        "bands across",
        "bands blank",
        "bands check",
        "bands convert",
        "bands derive",
        "rules list",
        "rules show",
        "stages list",
        "stages set",
        "stages clear",
        "results add",
        "results import",
        "results list",
        "results correct",
        "results void",
        "log application",
        "log observation",
        "log show",
        "materials list",
        "materials show",
        "plan record",
        "plan list",
        "plan show",
    }


@pytest.mark.parametrize("words", [(), *ALL], ids=" ".join)
def test_help_fits_the_screen(words: tuple[str, ...]) -> None:
    text = help_of(words)
    assert text.startswith("Usage: ")
    assert too_wide(text) == []


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_help_shows_an_example_of_the_command(words: tuple[str, ...]) -> None:
    assert [line for line in examples(words) if line.startswith(" ".join(("fertadjust", *words)))]


@pytest.mark.parametrize("words", [(), *ALL], ids=" ".join)
def test_examples_in_the_help_can_be_typed(words: tuple[str, ...]) -> None:
    for line in examples(words):
        assert line.count('"') % 2 == 0, f"broken over two lines: {line}"
        given = shlex.split(line.split(" > ")[0])[1:]
        command: click.Command = cli
        context = click.Context(cli, info_name="fertadjust")
        while isinstance(command, click.Group):
            name = given.pop(0)
            found = command.get_command(context, name)
            assert found is not None, line
            command = found
            context = click.Context(command, parent=context, info_name=name)
        command.make_context(context.info_name, given)


@pytest.mark.parametrize("words", LEAVES, ids=" ".join)
def test_every_option_is_explained(words: tuple[str, ...]) -> None:
    for parameter in ALL[words].params:
        if isinstance(parameter, click.Option):
            assert parameter.help, parameter.name


def test_short_and_long_help_are_the_same(run: Run) -> None:
    assert run("-h").output == run("--help").output


def test_help_names_every_command(run: Run) -> None:
    text = run("--help").output
    for words in ALL:
        if len(words) == 1:
            assert re.search(rf"^  {words[0]}\s", text, re.MULTILINE)


def test_version(run: Run) -> None:
    assert run("--version").output == f"fertadjust, version {fertadjust.__version__}\n"


def program(*args: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "fertadjust.cli", *args],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=60,
        stdin=subprocess.DEVNULL,
        check=False,
    )


def test_the_module_runs_as_a_program(tmp_path: Path) -> None:
    done = program("--version", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (0, f"fertadjust, version {fertadjust.__version__}\n")
    done = program("check", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Error: " in done.stderr
    assert "there is no season.toml here" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_reader_who_stops_reading_is_no_failure(sample: Path) -> None:
    with subprocess.Popen(
        [
            sys.executable,
            "-m",
            "fertadjust.cli",
            "advise",
            "--json",
            "--season",
            str(sample),
            "--on",
            "2026-04-17",
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline() == b"{\n"
        process.stdout.close()
        told = process.stderr.read().decode()
        process.wait(60)
    assert "Traceback" not in told
    assert "program failed" not in told
    assert "BrokenPipe" not in told


def test_help_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import sys\n"
        "from click.testing import CliRunner\n"
        "from fertadjust.cli import cli\n"
        "assert CliRunner().invoke(cli, ['--help']).exit_code == 0\n"
        "print([name for name in ('pandas', 'matplotlib', 'pydantic', 'scipy') if name in sys.modules])\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout == "[]\n", done.stderr


# --- exit status --------------------------------------------------------------------------------------------

SOL = 'sol = "loamy sand"'
ON_A_SEASON = [
    ("check",),
    ("advise",),
    ("amounts", "--block", "creek"),
    ("mix-sheet", "--block", "creek"),
    ("minutes", "--block", "creek", "--tank-n", "5", "--tank-volume", "50"),
    ("calendar",),
    ("purchase",),
    ("blend", "--block", "creek", "--at-least", "k2o=2"),
    ("credits",),
    ("results", "list"),
    ("results", "add", "--block", "creek", "--sampled", "2026-05-18", "--value", "2310"),
    ("results", "correct", "1", "--value", "2310", "--reason", "x"),
    ("results", "void", "1", "--reason", "x"),
    ("log", "application", "--block", "creek", "--n", "2"),
    ("log", "observation", "--block", "creek", "--kind", "frost"),
    ("log", "show", "--block", "creek"),
    ("decide", "--block", "creek", "--accept"),
    ("decisions",),
    ("review",),
    ("chart", "--block", "creek"),
    ("report", "--block", "creek"),
    ("simulate", "--block", "creek"),
]


@pytest.mark.parametrize("words", ON_A_SEASON, ids=" ".join)
def test_a_folder_without_a_season_is_told(refused: Refused, tmp_path: Path, words: tuple[str, ...]) -> None:
    told = refused(*words, "--season", tmp_path / "nowhere")
    assert f"Error: {tmp_path / 'nowhere'}: there is no season.toml here; write one with: fertadjust new" in told


@pytest.mark.parametrize("words", ON_A_SEASON, ids=" ".join)
def test_every_fault_of_a_season_file_is_told(refused: Refused, fresh: Path, words: tuple[str, ...]) -> None:
    path = fresh / "season.toml"
    text = path.read_text().replace("rows = 10", "rows = 0").replace("soil = ", "sol = ", 1)
    path.write_text(text)
    lines = text.splitlines()
    told = refused(*words, "--season", fresh)
    assert told.splitlines() == [
        f"Error: season.toml, line {lines.index('rows = 0') + 1}, blocks.creek.rows: "
        "should be greater than or equal to 1; found 0",
        f"Error: season.toml, line {lines.index(SOL) + 1}, blocks.creek.sol: is not a known key; "
        "known here: name, row_length, rows, row_lengths, bed_top_width, bed_spacing, area_basis, "
        "standard_spacing, soil, cultivar, stages",
    ]


FILE_ALONE = (("check",), ("credits",), ("simulate", "--block", "creek"))
"""What needs the season file alone."""
ON_RECORDS = [words for words in ON_A_SEASON if words not in FILE_ALONE]


@pytest.mark.parametrize("words", ON_RECORDS, ids=" ".join)
def test_records_of_something_else_are_told_and_left(
    refused: Refused, fresh: Path, words: tuple[str, ...]
) -> None:
    (fresh / "records.db").write_bytes(b"not a database, " * 100)
    assert str(fresh / "records.db") in refused(*words, "--season", fresh)


@pytest.mark.parametrize("words", ON_A_SEASON, ids=" ".join)
def test_a_failure_of_the_program_is_told_in_plain_words(
    run: Run, fresh: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    def broken(folder: Path) -> None:
        raise RuntimeError("the roof fell in")

    monkeypatch.setattr("fertadjust.api.open_season", broken)
    result = run(*words, "--season", fresh, code=1)
    assert result.stdout == ""
    assert result.stderr.startswith(
        "Error: the program failed, and that is not your mistake: RuntimeError: the roof fell in\n"
    )
    assert "FERTADJUST_DEBUG=1" in result.stderr
    assert [path.name for path in fresh.iterdir()] == ["season.toml"]


def test_a_failure_shows_where_when_asked(fresh: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(folder: Path) -> None:
        raise RuntimeError("the roof fell in")

    monkeypatch.setattr("fertadjust.api.open_season", broken)
    monkeypatch.setenv("FERTADJUST_DEBUG", "1")
    result = CliRunner().invoke(cli, ["check", "--season", str(fresh)])
    assert isinstance(result.exception, RuntimeError)


@pytest.mark.parametrize(
    "words",
    [
        ("harvest",),
        ("results", "harvest"),
        ("advise", "--block"),
        ("advise", "--colour", "red"),
        ("advise", "--on", "9.3.2026"),
        ("results", "correct", "four"),
        ("results", "add", "--tissue", "root"),
        ("results", "add", "--petioles", "0"),
        ("new",),
        ("bands", "show"),
    ],
    ids=" ".join,
)
def test_what_cannot_be_understood_has_status_2(run: Run, words: tuple[str, ...]) -> None:
    assert "Error: " in run(*words, code=2).stderr


def test_a_date_is_explained(run: Run) -> None:
    assert '"9.3.2026" is not a date; write it as 2026-03-09' in run("advise", "--on", "9.3.2026", code=2).stderr


def test_the_season_may_be_this_folder_or_named_once(
    run: Run, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    named = run("check", "--season", lived).output
    monkeypatch.setenv("FERTADJUST_SEASON", str(lived))
    assert run("check").output == named
    monkeypatch.delenv("FERTADJUST_SEASON")
    monkeypatch.chdir(lived)
    assert run("check").output == named


def test_who_enters_may_be_named_once(run: Run, fresh: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FERTADJUST_BY", "ann")
    run("log", "application", "--block", "creek", "--n", "2", "--season", fresh)
    run("log", "observation", "--block", "creek", "--kind", "frost", "--by", "ben", "--season", fresh)
    assert [(record.kind, record.author) for record in open_season(fresh).records.all()] == [
        (Kind.PLAN, "ann"),
        (Kind.APPLICATION, "ann"),
        (Kind.OBSERVATION, "ben"),
    ]
