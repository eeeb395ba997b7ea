"""Reading a TOML file: every fault with its file, its line and its key."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from fertadjust.errors import Fault, UserError
from fertadjust.season_model import SeasonIn
from fertadjust.toml_file import TomlFile, dotted, parse_toml, read_toml

PLAN = """\
# A plan with all that people put around their numbers.

title = "spring"  # [not a table]
note = '''
[plan]
rate = 99
"""
PLAN += """'''
weights = [
  1,  # ]
  2,
]
[plan]            # the first table
start = 2026-03-02
"rate of the week" = 5.25
'soil' = "loam # not a note"
drip.tape = "8 mil"
pair = { a = 1, b = [1, 2] }

[[products]]
name = "calcium nitrate"

[[products]]
name = \"\"\"potassium
nitrate [[products]]
name = "no key" \"\"\"
grade = "13-0-44"

  [[products.lots]]
  weight = 50

[blocks."north field"]
rows = 10

[blocks.south.stages] # dated later
first_bloom = 2026-03-09
"""


def refused(path: Path) -> Fault:
    with pytest.raises(UserError) as caught:
        read_toml(path)
    (fault,) = caught.value.faults
    return fault


@pytest.fixture
def plan() -> TomlFile:
    return parse_toml(PLAN, "season.toml")


def line_with(text: str, nth: int = 1, of: str = PLAN) -> int:
    """1-based number of the nth line that begins with a text."""
    found = [number for number, line in enumerate(of.split("\n"), start=1) if line.strip().startswith(text)]
    return found[nth - 1]


@pytest.mark.parametrize(
    ("place", "start", "nth"),
    [
        (("title",), "title", 1),
        (("note",), "note", 1),
        (("weights",), "weights", 1),
        (("plan",), "[plan]", 2),
        (("plan", "start"), "start", 1),
        (("plan", "rate of the week"), '"rate of the week"', 1),
        (("plan", "soil"), "'soil'", 1),
        (("plan", "drip", "tape"), "drip.tape", 1),
        (("plan", "pair"), "pair", 1),
        (("products",), "[[products]]", 1),
        (("products", 0), "[[products]]", 1),
        (("products", 0, "name"), "name", 1),
        (("products", 1), "[[products]]", 2),
        (("products", 1, "name"), "name", 2),
        (("products", 1, "grade"), "grade", 1),
        (("products", 1, "lots", 0), "[[products.lots]]", 1),
        (("products", 1, "lots", 0, "weight"), "weight = 50", 1),
        (("blocks", "north field"), '[blocks."north field"]', 1),
        (("blocks", "north field", "rows"), "rows", 1),
        (("blocks", "south", "stages", "first_bloom"), "first_bloom", 1),
    ],
)
def test_a_place_has_the_line_it_was_written_on(
    plan: TomlFile, place: tuple[str | int, ...], start: str, nth: int
) -> None:
    assert plan.line_of(place) == line_with(start, nth)


@pytest.mark.parametrize(
    ("place", "start", "nth"),
    [
        (("plan", "pair", "b", 1), "pair", 1),
        (("weights", 1), "weights", 1),
        (("products", 1, "grade", "n"), "grade", 1),
        (("products", 0, "grade"), "[[products]]", 1),
        (("blocks", "north field", "soil"), '[blocks."north field"]', 1),
    ],
)
def test_a_place_that_was_not_written_has_the_line_of_what_is_around_it(
    plan: TomlFile, place: tuple[str | int, ...], start: str, nth: int
) -> None:
    assert plan.line_of(place) == line_with(start, nth)


def test_a_key_inside_a_text_is_not_taken_for_a_key(plan: TomlFile) -> None:
    assert plan.data["plan"].get("rate") is None
    assert ("plan", "rate") not in plan.lines
    assert ("products", 2) not in plan.lines


def test_a_place_nowhere_near_has_no_line(plan: TomlFile) -> None:
    assert plan.line_of(("farm", "name")) is None
    assert plan.line_of(()) is None


def test_lines_are_the_same_with_windows_line_ends() -> None:
    windows = parse_toml(PLAN.replace("\n", "\r\n"), "season.toml")
    plain = parse_toml(PLAN, "season.toml")
    assert windows.lines == plain.lines
    assert windows.data == plain.data


def test_a_text_opened_and_closed_on_one_line_leaves_the_next_line_alone() -> None:
    text = 'a = \'\'\'one line\'\'\'\nb = """\\\n  folded"""\nc = "a \\" quote # here"\n[d]\ne = 1\n'
    lines = parse_toml(text, "x.toml").lines
    assert lines == {("a",): 1, ("b",): 2, ("c",): 4, ("d",): 5, ("d", "e"): 6}


def test_brackets_in_texts_and_notes_do_not_open_a_list() -> None:
    text = "a = '[' # [\nb = \"{[\" # {\nc = [ # ]\n  '[', # [\n]\nd = 1\n"
    lines = parse_toml(text, "x.toml").lines
    assert lines == {("a",): 1, ("b",): 2, ("c",): 3, ("d",): 6}


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ((), ""),
        (("plan",), "plan"),
        (("plan", "ramp", 1, "rate"), "plan.ramp[2].rate"),
        (("products", 0), "products[1]"),
    ],
)
def test_entries_of_a_list_count_from_one(place: tuple[str | int, ...], text: str) -> None:
    assert dotted(place) == text


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = \n", 2),
        ("a = 1\n[plan\nrate = 1\n", 2),
        ("a = 1\na = 2\n", 2),
        ('[plan]\nrate = 5\n[plan]\nstart = "x"\n', 3),
        ("a = 2026-02-30\n", 1),
        ('a = "never closed\nb = 1\n', 1),
        ("# one\n# two\nrate 5\n", 3),
        ("first = 1\nsecond = [1,\n", 3),
        ("first = 1\nsecond = '''\n", 3),
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_torn_file_is_refused_with_the_line(text: str, line: int, ends: str) -> None:
    with pytest.raises(UserError) as caught:
        parse_toml(text.replace("\n", ends), "season.toml")
    (fault,) = caught.value.faults
    assert (fault.file, fault.line) == ("season.toml", line)
    assert str(fault).startswith(f"season.toml, line {line}: the file is torn or mistyped here: ")
    assert "column" not in fault.message


def test_a_mark_at_the_head_of_a_file_is_no_part_of_it(tmp_path: Path) -> None:
    path = tmp_path / "season.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\nb = 'Caf\xc3\xa9'\r\n")
    file = read_toml(path)
    assert file.data == {"a": 1, "b": "Café"}
    assert file.lines == {("a",): 1, ("b",): 2}
    assert file.name == "season.toml"


def test_a_missing_file_is_named_with_its_folder(tmp_path: Path) -> None:
    fault = refused(tmp_path / "season.toml")
    assert fault.file == str(tmp_path / "season.toml")
    assert fault.message == "there is no such file"


@pytest.mark.parametrize("data", ['a = "Caf\xe9"\n'.encode("latin-1"), "a = 1\n".encode("utf-16")])
def test_a_file_in_another_encoding_is_refused(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "season.toml"
    path.write_bytes(data)
    fault = refused(path)
    assert (fault.file, fault.message) == ("season.toml", "the file is not text in UTF-8")
    assert path.read_bytes() == data


def test_a_folder_in_place_of_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "season.toml").mkdir()
    fault = refused(tmp_path / "season.toml")
    assert fault.message.startswith("the file cannot be read: ")


class Drip(BaseModel):
    model_config = ConfigDict(extra="forbid")
    flow: float = Field(gt=0, allow_inf_nan=False)
    tape: str = "thin"


class Farm(BaseModel):
    model_config = ConfigDict(extra="forbid")
    lines: list[Drip]
    fields: dict[str, Drip] = {}
    spare: Drip | None = None


def faults_of(text: str) -> list[Fault]:
    file = parse_toml(text, "farm.toml")
    with pytest.raises(ValidationError) as caught:
        Farm.model_validate(file.data)
    return file.faults(caught.value, Farm)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "[[lines]]\nflow = 1\n[[lines]]\nflow = 0\n",
            "farm.toml, line 4, lines[2].flow: should be greater than 0; found 0",
        ),
        ("[[lines]]\ntape = 'x'\n", "farm.toml, line 1, lines[1].flow: is missing"),
        (
            "lines = []\nspare = { flow = nan }\n",
            "farm.toml, line 2, spare.flow: should be a finite number; found nan",
        ),
        (
            "[[lines]]\nflow = 1\n\nflw = 2\n",
            "farm.toml, line 4, lines[1].flw: is not a known key; known here: flow, tape",
        ),
        (
            "lines = []\n[fields.north]\nflow = 1\nwidth = 2\n",
            "farm.toml, line 4, fields.north.width: is not a known key; known here: flow, tape",
        ),
        (
            "lines = []\nspare = { flow = 1, width = 2 }\n",
            "farm.toml, line 2, spare.width: is not a known key; known here: flow, tape",
        ),
        (
            "crop = 1\nlines = []\n",
            "farm.toml, line 1, crop: is not a known key; known here: lines, fields, spare",
        ),
        ("lines = []\n[fields]\nnorth = 5\n", "farm.toml, line 3, fields.north: "),
    ],
)
def test_a_fault_of_a_value_is_told_in_plain_words(text: str, told: str) -> None:
    (fault,) = faults_of(text)
    assert str(fault).startswith(told)
    assert "pydantic" not in str(fault).lower()


def test_a_value_of_the_wrong_kind_shows_what_was_found() -> None:
    (fault,) = faults_of("lines = [{ flow = 'fast' }]\n")
    assert (fault.line, fault.key) == (1, "lines[1].flow")
    assert "'fast'" in fault.message


def test_every_fault_is_found_at_once() -> None:
    text = "[[lines]]\nflow = -1\n[[lines]]\nflow = inf\nhose = 1\n[fields.a]\ntape = 3\n"
    assert {(fault.line, fault.key) for fault in faults_of(text)} == {
        (2, "lines[1].flow"),
        (4, "lines[2].flow"),
        (5, "lines[2].hose"),
        (6, "fields.a.flow"),
        (7, "fields.a.tape"),
    }


@pytest.mark.parametrize("name", ["north", "soil", "rows", "stages"])
def test_known_keys_are_told_whatever_a_block_is_called(name: str) -> None:
    file = parse_toml(f"[blocks.{name}]\nwidth = 3\n", "season.toml")
    with pytest.raises(ValidationError) as caught:
        SeasonIn.model_validate(file.data)
    told = [fault for fault in file.faults(caught.value, SeasonIn) if fault.key == f"blocks.{name}.width"]
    assert [fault.line for fault in told] == [2]
    assert "known here: name, row_length, rows, row_lengths, bed_top_width" in told[0].message
