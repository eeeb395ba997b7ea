"""Stage dates written into a season file: the date is there, and nothing else moves."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fertadjust.season_file import parse_season
from fertadjust.shipped import folder
from fertadjust.stage_edit import with_date, without_date
from tests.test_season_file import SEASON

SAMPLE = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
DAY = date(2026, 4, 6)
ODD = """\
schema = 1
[stages]   # as seen
# what we saw
first_bloom = 2026-03-02   # by the road
# fruit_set = 2026-03-20
# in doubt:
# approximate = ["fruit_set"]

[blocks.north] # the first
soil = "x"
area_basis = "bed"
# stages = { first_bloom = 2026-03-05 }

# a last word
[blocks.south]
area_basis = "bed"
[blocks.south.stages]
# its own
first_bloom = 2026-03-09
approximate = [
  "first_bloom", # a guess
]
"""


def changes(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came; the others stand in the same order."""
    old, new = before.split("\n"), after.split("\n")
    gone, come = [line for line in old if line not in new], [line for line in new if line not in old]
    assert [line for line in old if line in new] == [line for line in new if line in old]
    return gone, come


def test_a_date_that_stands_is_changed_in_its_line() -> None:
    assert changes(ODD, with_date(ODD, "first_bloom", DAY)) == (
        ["first_bloom = 2026-03-02   # by the road"],
        ["first_bloom = 2026-04-06   # by the road"],
    )


def test_a_line_that_is_noted_out_is_switched_on() -> None:
    assert changes(ODD, with_date(ODD, "fruit_set", DAY)) == (
        ["# fruit_set = 2026-03-20"],
        ["fruit_set = 2026-04-06"],
    )


def test_a_new_date_goes_below_the_one_before_it() -> None:
    text = with_date(with_date(ODD, "fruit_set", DAY), "full_bloom", date(2026, 3, 16))
    assert (
        text.index("first_bloom = 2026-03-02") < text.index("full_bloom = 2026-03-16") < text.index("fruit_set = ")
    )
    first = with_date(ODD, "green_up", date(2026, 2, 9))
    assert "[stages]   # as seen\ngreen_up = 2026-02-09\n# what we saw\n" in first


def test_a_guess_is_listed_and_a_date_that_was_seen_is_not() -> None:
    text = with_date(ODD, "fruit_set", DAY, guess=True)
    assert '\napproximate = ["fruit_set"]\n' in text and "# approximate" not in text
    both = tomllib.loads(with_date(text, "first_bloom", DAY, guess=True))
    assert both["stages"]["approximate"] == ["fruit_set", "first_bloom"]
    assert "approximate" not in tomllib.loads(with_date(text, "fruit_set", DAY))["stages"]
    assert with_date(text, "fruit_set", DAY, guess=True) == text


def test_a_block_gets_a_date_of_its_own_in_place_of_the_example() -> None:
    assert changes(ODD, with_date(ODD, "first_bloom", DAY, "north", guess=True)) == (
        ["# stages = { first_bloom = 2026-03-05 }"],
        ['stages = { first_bloom = 2026-04-06, approximate = ["first_bloom"] }'],
    )
    plain = ODD.replace("# stages = { first_bloom = 2026-03-05 }\n", "")
    assert 'area_basis = "bed"\nstages = { first_bloom = 2026-04-06 }\n\n# a last word' in with_date(
        plain, "first_bloom", DAY, "north"
    )


def test_a_blocks_own_table_keeps_its_comments() -> None:
    text = with_date(ODD, "first_bloom", DAY, "south")
    assert tomllib.loads(text)["blocks"]["south"]["stages"] == {"first_bloom": DAY}
    assert "# its own\nfirst_bloom = 2026-04-06\n" in text
    assert text.split("[blocks.south]")[0] == ODD.split("[blocks.south]")[0]


def test_a_date_taken_out_leaves_the_rest() -> None:
    assert changes(ODD, without_date(ODD, "first_bloom")) == (
        ["first_bloom = 2026-03-02   # by the road"],
        ["# first_bloom =   # by the road"],
    )
    own = with_date(ODD, "first_bloom", DAY, "north")
    assert changes(own, without_date(own, "first_bloom", "north")) == (
        ["stages = { first_bloom = 2026-04-06 }"],
        [],
    )
    lane = without_date(SAMPLE, "first_bloom", "lane")
    assert changes(SAMPLE, lane) == (['stages = { first_bloom = 2026-03-09, approximate = ["first_bloom"] }'], [])


@pytest.mark.parametrize(
    "stages",
    [
        "stages.first_bloom = 2026-03-02\n",
        "stages = { first_bloom = 2026-03-02 }\n",
        '["stages"]\n"first_bloom" = 2026-03-02\n',
        "[stages]\n",
        "[stages]",
    ],
)
def test_any_way_of_writing_a_table_will_do(stages: str) -> None:
    text = f'schema = 1\n{stages}\n[blocks.north]\nnote = """\n# fruit_set = \n"""\n'
    wanted: dict[str, Any] = tomllib.loads(text)
    found = tomllib.loads(with_date(text, "fruit_set", DAY, guess=True))
    wanted["stages"] |= {"fruit_set": DAY, "approximate": ["fruit_set"]}
    assert found == wanted


NOTED = """\
[stages]
first_bloom = 2026-03-02 # by the road
# fruit_set = 2026-04-01   my important note
#main_harvest = never, we prune
# full_bloom = # ask the neighbour
# late_season =
# approximate = which? all
approximate = [ # in doubt
  "first_bloom", # fog
  # the rest is sure
]
[plan]
"""


@pytest.mark.parametrize(
    ("name", "gone", "come"),
    [
        (
            "fruit_set",
            ["# fruit_set = 2026-04-01   my important note"],
            ["fruit_set = 2026-04-06   # my important note"],
        ),
        ("main_harvest", [], ["main_harvest = 2026-04-06"]),
        ("full_bloom", ["# full_bloom = # ask the neighbour"], ["full_bloom = 2026-04-06   # ask the neighbour"]),
        ("late_season", ["# late_season ="], ["late_season = 2026-04-06"]),
    ],
)
def test_only_a_noted_out_date_is_switched_on_and_its_note_stays(
    name: str, gone: list[str], come: list[str]
) -> None:
    assert changes(NOTED, with_date(NOTED, name, DAY)) == (gone, come)


def test_a_date_taken_out_keeps_its_comment_for_when_it_comes_again() -> None:
    text = ODD.replace('approximate = ["fruit_set"]', "")
    out = without_date(text, "first_bloom")
    assert "\n# first_bloom =   # by the road\n" in out
    again = with_date(out, "first_bloom", date(2026, 3, 2))
    assert again == text


def test_comments_in_a_list_of_guesses_stay() -> None:
    two = with_date(NOTED, "fruit_set", DAY, guess=True)
    assert tomllib.loads(two)["stages"]["approximate"] == ["first_bloom", "fruit_set"]
    one = with_date(two, "first_bloom", DAY)
    assert tomllib.loads(one)["stages"]["approximate"] == ["fruit_set"]
    none = with_date(one, "fruit_set", DAY)
    assert "approximate" not in tomllib.loads(none)["stages"]
    for text in (two, one, none):
        for comment in ("# in doubt", "# fog", "# the rest is sure", "# approximate = which? all"):
            assert comment in text
    inline = "[stages]\nb = 2026-03-02\n[blocks.north]\nstages = { a = 2026-03-02 } # low spot\nrows = 1\n"
    assert without_date(inline, "a", "north").endswith("[blocks.north]\n# low spot\nrows = 1\n")


DOTTED = [
    "stages.first_bloom = 2026-03-02 # seen\n[plan]\nx = 1\n[blocks.north]\narea_basis = 'bed'\n",
    "stages.first_bloom = 2026-03-02\nschema = 1\nstages.fruit_set = 2026-04-01 # x\n"
    "stages.approximate = ['fruit_set'] # unsure\n[blocks.north]\nstages.first_bloom = 2026-03-01\n"
    "area_basis = 'bed'\nstages.fruit_set = 2026-04-02 # y\nstages.approximate = ['first_bloom']\n",
    "[blocks.north]\nstages.first_bloom = 2026-03-02 # a\narea_basis = 'bed'\n"
    "[stages]\nfirst_bloom = 2026-03-02\n",
    "blocks.north.a = 1\nstages.first_bloom = 2026-03-02\nblocks.north.stages.first_bloom = 2026-03-03 # k\n"
    "blocks.north.b = [\n 1, # l\n]\n",
    "stages = { first_bloom = 2026-03-02 } # a\n[blocks]\n"
    "north.stages = { first_bloom = 2026-03-02 } # b\nnorth.rows = 1\n",
    "stages = { first_bloom = 2026-03-02 } # a\n[blocks.north]\nrows = 1\n[plan]\n[blocks.south]\nrows = 2\n",
    "[stages]\nfirst_bloom = 2026-03-02\n[blocks]\n"
    "north = { rows = 1, stages = { first_bloom = 2026-03-02, fruit_set = 2026-03-05 } } # n\n",
]


@pytest.mark.parametrize("text", DOTTED)
@pytest.mark.parametrize("block", [None, "north"])
@pytest.mark.parametrize("name", ["first_bloom", "fruit_set", "full_bloom"])
@pytest.mark.parametrize("guess", [False, True])
def test_dates_are_set_and_taken_out_however_the_keys_are_written(
    text: str, block: str | None, name: str, guess: bool
) -> None:
    def stages(of: str) -> dict[str, Any]:
        data = tomllib.loads(of)
        return dict((data if block is None else data["blocks"][block]).get("stages", {}))

    def elsewhere(of: str) -> dict[str, Any]:
        data = tomllib.loads(of)
        (data if block is None else data["blocks"][block]).pop("stages", None)
        return data

    text_set = with_date(text, name, DAY, block, guess=guess)
    listed = {item for item in stages(text).get("approximate", []) if item != name} | ({name} if guess else set())
    assert stages(text_set)[name] == DAY and set(stages(text_set).get("approximate", [])) == listed
    out = without_date(text_set, name, block)
    assert name not in stages(out) and set(stages(out).get("approximate", [])) == listed - {name}
    assert elsewhere(text) == elsewhere(text_set) == elsewhere(out)
    assert block is not None or "stages" in tomllib.loads(out)
    for comment in re.findall("# [a-z]+", text):
        assert comment in text_set and comment in out


STAGES = st.sampled_from(["first_bloom", "fruit_set", "full_bloom", "main_harvest", "my_own"])
EDITS = st.tuples(
    STAGES, st.dates(date(2026, 1, 1), date(2026, 6, 1)), st.sampled_from([None, "north", "south"]), st.booleans()
)


@given(st.lists(EDITS, min_size=1, max_size=6))
def test_whatever_is_set_stands_and_no_comment_is_lost(edits: list[tuple[str, date, str | None, bool]]) -> None:
    text, wanted = ODD, tomllib.loads(ODD)
    for name, on, block, guess in edits:
        text = with_date(text, name, on, block, guess=guess)
        holder = wanted if block is None else wanted["blocks"][block]
        table = holder.setdefault("stages", {})
        table[name] = on
        listed = [item for item in table.get("approximate", []) if item != name or guess]
        listed += [name] if guess and name not in listed else []
        table.pop("approximate", None)
        if listed:
            table["approximate"] = listed
        assert tomllib.loads(text) == wanted
    for comment in (
        "# as seen",
        "# what we saw",
        "# by the road",
        "# in doubt:",
        "# the first",
        "# a last word",
        "# its own",
        "# a guess",
    ):
        assert comment in text


@given(st.lists(EDITS, min_size=1, max_size=4))
def test_what_is_set_and_taken_out_again_leaves_the_plan_as_it_was(
    edits: list[tuple[str, date, str | None, bool]],
) -> None:
    """On a file that the checks have passed; stages of their own order do not matter here."""
    parse_season(SEASON, Path())
    text, made = SEASON, set()
    for name, on, block, guess in edits:
        if (name, block) != ("first_bloom", None):
            text = with_date(text, name, on, block, guess=guess)
            made.add((name, block))
    for name, block in made:
        text = without_date(text, name, block)
    assert tomllib.loads(text) == tomllib.loads(SEASON)
