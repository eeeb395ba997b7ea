"""Imports go one way: a module may import only what comes before it in the list. Pure ones read nothing."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

import fertadjust

ROOT = Path(fertadjust.__file__).parent

PURE_LAYERS = """
errors
evidence units dates strict
field tissue stages uncertainty observations
band_rows stage_places crop_stages
table_places
bands compare
table_check table_derive
plan
ledger trend
materials products
compatibility mixes
credits
purchase
blend_program
blend_targets blend_conflict
blend
stock
injection
mix_sheet
rules rules.cross_table rules.published rules.policy rules.facts
rules.sizes
rules.evidence_rules rules.position_rules rules.cross_rules rules.bound_rules
rules.amount_rules
rules.step_rules
rules.companion_rules rules.statement_rules rules.date_rules
rules.engine
rules.what_if
start_schedule
table_choice
across
across_words
readings
weekly block_facts alternatives season projection
feeding
simulate simulate.parameters simulate.scenario
simulate.crop_model simulate.reference simulate.draws simulate.controllers
simulate.loop
simulate.measures
simulate.runs simulate.calibration
simulate.guards
simulate.outlook simulate.study
cautions limits words advice_data mix_sheet_data
published_words simulation_ground study_found
simulation_words study_words
simulation_data study_data
block_day
needs
attention
"""

OUTER_LAYERS = """
files toml_file
lab.text
lab.values
table_csv
table_write shipped
table_blank
feeding_model season_model feeding_labels feeding_file season_tables season_rules season_stages season_file
simulation_files
simulation_tries
chain record records_schema records stored revisions
entry stage_edit starter deciding history
review_changes
review
review_words
review_next_year
audit decision_audit transfer
lab.days
lab.vocabulary
lab.words
lab.profile lab.found
lab.layout lab.cells lab.kinds
lab.amounts
lab.body lab.lab_json lab.spreadsheet
lab.report
lab
laboratories
known_results
intake report_reading backup
chart_style
chart_axes chart_labels
chart_sheet
chart_results
chart_rates charts
farm_charts
pages browser
report_parts report_evidence report
mix_sheet_page calendar_file review_page
across_chart
across_page
simulation_chart study_chart
frames
season_book
stage_move
api
outputs
review_of_season
summary
summary_page
demo
cli.common
cli.choose
cli.across
cli.table_options
cli.derive
cli.own_tables
cli.setup_questions
cli.setup_plan
cli.setup cli.stages cli.rules cli.bands
cli.reports cli.results cli.log cli.advise cli.decide cli.history cli.review
cli.pages cli.overview
cli.materials cli.feeding cli.blend cli.records
cli.simulate cli.study
cli.demo
cli
cli.__main__
"""

LAYERS = [line.split() for line in (PURE_LAYERS + OUTER_LAYERS).splitlines() if line]
ORDER = [name for layer in LAYERS for name in layer]
PURE = PURE_LAYERS.split()

LAZY_UPWARD = {("api", "outputs"), ("api", "review_of_season")}
"""The interface hands charts and reports on when they are asked for; the import stands inside the function."""

HEAVY = ("pandas", "numpy", "scipy", "matplotlib", "pydantic")


class Import(NamedTuple):
    """One import of a module of the package.

    Attributes:
        target: what is imported, below ``fertadjust``; "" for the package itself.
        line: where.
        inside: whether it stands inside a function.
        typing_only: whether it stands under ``if TYPE_CHECKING``.
    """

    target: str
    line: int
    inside: bool
    typing_only: bool


def path_of(module: str) -> Path:
    path = ROOT.joinpath(*module.split("."))
    return path / "__init__.py" if path.is_dir() else path.with_suffix(".py")


def modules() -> list[str]:
    """Every module of the package except its own ``__init__``."""
    found = []
    for path in sorted(ROOT.rglob("*.py")):
        parts = list(path.relative_to(ROOT).with_suffix("").parts)
        if parts[-1] == "__init__":
            parts.pop()
        if parts:
            found.append(".".join(parts))
    return found


def tree_of(module: str) -> ast.Module:
    return ast.parse(path_of(module).read_text(encoding="utf-8"))


def walk(node: ast.AST, inside: bool = False, typing_only: bool = False) -> Iterator[tuple[ast.AST, bool, bool]]:
    for child in ast.iter_child_nodes(node):
        deeper = inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        guarded = typing_only or (isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test))
        yield child, deeper, guarded
        yield from walk(child, deeper, guarded)


def imports_of(module: str) -> Iterator[Import]:
    """The package's own modules that a module imports, wherever the import stands."""
    for node, inside, typing_only in walk(tree_of(module)):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}:{node.lineno} imports relatively"
            base = node.module or ""
            names = [
                full if (full := f"{base}.{alias.name}").removeprefix("fertadjust.") in ORDER else base
                for alias in node.names
            ]
        for name in names:
            if name.split(".")[0] == "fertadjust":
                assert isinstance(node, ast.Import | ast.ImportFrom)
                target = name.removeprefix("fertadjust").lstrip(".")
                yield Import(target, node.lineno, inside, typing_only)


def foreign_imports_of(module: str) -> Iterator[str]:
    for node in ast.walk(tree_of(module)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


def test_every_module_stands_in_the_list_of_layers_once() -> None:
    assert sorted(ORDER) == sorted(modules())


@pytest.mark.parametrize("module", ORDER)
def test_no_import_points_downwards_in_the_list(module: str) -> None:
    own = ORDER.index(module)
    for found in imports_of(module):
        if found.target == "":
            continue  # the package itself holds a version number and loads nothing
        assert found.target in ORDER, f"{module}:{found.line} imports {found.target}"
        if (module, found.target) in LAZY_UPWARD:
            assert found.inside and not found.typing_only, f"{module}:{found.line}"
            continue
        if found.target == module:
            pytest.fail(f"{module}:{found.line} imports itself")
        assert ORDER.index(found.target) < own, f"{module}:{found.line} imports {found.target}, which comes later"


def test_only_the_interface_reaches_later_and_it_does() -> None:
    """An exception that is not needed any more leaves the list."""
    late = {
        (module, found.target)
        for module in ORDER
        for found in imports_of(module)
        if found.target and ORDER.index(found.target) > ORDER.index(module)
    }
    assert late == LAZY_UPWARD


def test_the_package_itself_imports_nothing_when_it_is_loaded() -> None:
    tree = ast.parse((ROOT / "__init__.py").read_text(encoding="utf-8"))
    loose = [
        node
        for node, inside, typing_only in walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom) and not inside and not typing_only
    ]
    names = {node.module for node in loose if isinstance(node, ast.ImportFrom)}
    assert names <= {"__future__", "typing"}
    assert not any(isinstance(node, ast.Import) for node in loose)


# --- pure modules --------------------------------------------------------------------------------------------

OUTSIDE_WORLD = {
    *("sqlite3", "pathlib", "os", "io", "tempfile", "shutil", "glob", "subprocess", "socket", "urllib", "http"),
    *("time", "random", "secrets", "logging", "getpass", "locale", "click", "jinja2", "tomllib", "csv"),
}
CLOCK = {"now", "today", "utcnow", "time", "monotonic", "localtime"}
FILES = {"open", "read_text", "write_text", "read_bytes", "write_bytes"}
PRINTING = {"print", "input"}


@pytest.mark.parametrize("module", PURE)
def test_a_pure_module_imports_nothing_that_reads_or_writes(module: str) -> None:
    found = {name.split(".")[0] for name in foreign_imports_of(module)}
    assert not found & OUTSIDE_WORLD


@pytest.mark.parametrize("module", PURE)
def test_a_pure_module_reads_no_clock_opens_no_file_and_prints_nothing(module: str) -> None:
    for node in ast.walk(tree_of(module)):
        if not isinstance(node, ast.Call):
            continue
        called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        assert called not in CLOCK | FILES | PRINTING, f"{module}:{node.lineno} calls {called}"


def test_calls_of_a_clock_are_noticed() -> None:
    """The check above can fail: the interface, which is not pure, does read the calendar."""
    calls = [node.func for node in ast.walk(tree_of("season_book")) if isinstance(node, ast.Call)]
    assert CLOCK & {call.attr for call in calls if isinstance(call, ast.Attribute)}
    assert "sqlite3" in set(foreign_imports_of("records"))


# --- a quick start -------------------------------------------------------------------------------------------

ASK = f"""
import sys
try:
    {{what}}
except SystemExit as stopped:
    assert not stopped.code, stopped.code
print("loaded:", *sorted(name for name in {HEAVY!r} if name in sys.modules))
"""


def loaded_after(what: str) -> list[str]:
    """Heavy libraries that a fresh interpreter has loaded after some statements."""
    done = subprocess.run(
        [sys.executable, "-c", ASK.format(what=what)], capture_output=True, text=True, check=True, timeout=120
    )
    last = done.stdout.splitlines()[-1]
    assert last.startswith("loaded:")
    return last.split()[1:]


def test_help_loads_no_heavy_library() -> None:
    ask = "sys.argv = ['fertadjust', '--help']; from fertadjust.cli import main; main()"
    assert loaded_after(ask) == []


@pytest.mark.parametrize("command", ["advise", "results", "demo", "report", "simulate", "study"])
def test_help_of_a_command_loads_no_heavy_library(command: str) -> None:
    ask = f"sys.argv = ['fertadjust', '{command}', '--help']; from fertadjust.cli import main; main()"
    assert loaded_after(ask) == []


def test_the_package_loads_no_heavy_library_until_a_season_is_opened() -> None:
    assert loaded_after("import fertadjust; fertadjust.__version__; fertadjust.UserError") == []
    assert "pydantic" in loaded_after("import fertadjust; fertadjust.open_season")


def test_advice_without_a_trend_loads_neither_pictures_nor_tables() -> None:
    ask = "from tests import support; support.season(support.result(4000)).advice(support.day_in(7))"
    assert not set(loaded_after(ask)) & {"pandas", "matplotlib", "scipy"}
