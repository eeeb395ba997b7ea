"""Every block of one or many season folders. All farms and figures are invented."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest

from fertadjust.api import Season, open_season
from fertadjust.attention import attention_key, standing_of
from fertadjust.needs import Urgency
from fertadjust.record import Kind
from fertadjust.records import Records
from fertadjust.season_file import parse_season
from fertadjust.shipped import folder as shipped
from fertadjust.stored import undone_since
from fertadjust.summary import (
    FolderFault,
    Summary,
    counts_sentence,
    first_change,
    left_words,
    open_folders,
    rates_shown,
    side_words,
    summary_data,
    summary_of,
    value_words,
)
from fertadjust.tissue import Censor
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests import support
from tests.test_season_file import edited

SAMPLE = (shipped("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
ON = date(2026, 3, 12)
METRIC = (
    ('units = "us"', 'units = "metric"'),
    ("water_temperature = 55", "water_temperature = 12"),
    ("tank = 50", "tank = 1000"),
    ("pump_rate = 20", "pump_rate = 400"),
    ("Larkrise Farm", "Sandbrook Farm"),
)


def grower(where: Path, text: str = SAMPLE) -> Path:
    """A season folder with a low result on the creek and one within its band on the hill, received on `ON`."""
    where.mkdir()
    (where / "season.toml").write_text(text, encoding="utf-8")
    season = open_season(where)
    for block, value in (("creek", "300"), ("hill", "5000")):
        season.add_result(
            block=block, sampled="2026-03-10", received=ON.isoformat(), value=value, petioles="25", confirm=True,
            today=ON, by="grower",
        )  # fmt: skip
    return where


def summary_on(*folders: Path, on: date = ON) -> Summary:
    seasons, faults = open_folders(folders)
    return summary_of(seasons, on, faults)


def test_every_block_of_a_season_stands_in_order(tmp_path: Path) -> None:
    season = open_season(grower(tmp_path / "larkrise"))
    found = summary_on(tmp_path / "larkrise")
    assert [row.standing.block.key for row in found.rows] == ["creek", "lane", "hill"]
    assert (found.folders, found.faults, found.several) == (1, (), False)
    alone = [standing_of(season.block(key, ON), ON) for key in season.blocks]
    assert [row.standing for row in found.rows] == sorted(alone, key=attention_key)
    assert [found.name(row) for row in found.rows] == ["Creek side", "Lane end", "Hill top"]


def test_the_counts_of_what_is_to_be_done(tmp_path: Path) -> None:
    found = summary_on(grower(tmp_path / "larkrise"))
    assert counts_sentence(found) == (
        "3 blocks: 1 needs a decision today, 1 needs a sample today, 1 has something to do this week."
    )
    assert counts_sentence(Summary(ON, (), 0)) == "0 blocks."


def test_blocks_of_several_farms_are_sorted_together_and_named_with_their_farm(tmp_path: Path) -> None:
    one = grower(tmp_path / "one")
    other = grower(tmp_path / "other", edited(("Larkrise Farm", "Brookmead Farm"), text=SAMPLE))
    found = summary_on(one, other)
    assert [found.name(row) for row in found.rows] == [
        "Creek side, Larkrise Farm (invented)",
        "Creek side, Brookmead Farm (invented)",
        "Lane end, Larkrise Farm (invented)",
        "Lane end, Brookmead Farm (invented)",
        "Hill top, Larkrise Farm (invented)",
        "Hill top, Brookmead Farm (invented)",
    ]
    assert [block.block.name for block in found.named_blocks()] == [found.name(row) for row in found.rows]
    assert [row.standing for row in found.rows] == sorted((row.standing for row in found.rows), key=attention_key)
    assert [row.farm[:4] for row in summary_on(other, one).rows][:2] == ["Broo", "Lark"]


def test_two_folders_of_one_farm_are_told_apart_and_one_given_twice_counts_once(tmp_path: Path) -> None:
    one, other = grower(tmp_path / "one"), grower(tmp_path / "other")
    found = summary_on(one, other, one, tmp_path / "other" / ".." / "one")
    assert found.folders == 2
    assert len(found.rows) == 6
    assert {row.farm for row in found.rows} == {f"Larkrise Farm (invented) ({path})" for path in (one, other)}


def test_a_decision_whose_result_was_corrected_since_is_to_be_made_again(tmp_path: Path) -> None:
    season = open_season(grower(tmp_path / "larkrise"))
    season.decide("hill", "accept", ON, by="grower", today=ON)
    season.decide("creek", "accept", ON, by="grower", today=ON)
    later = ON + timedelta(days=2)
    number = next(item.number for item in season.records.current(Kind.RESULT) if item.block == "hill")
    season.correct_result(number, {"value": "1000"}, "a digit was lost", by="grower", confirm=True, today=later)
    records = season.records.all()
    standing = [item for item in records if item.block == "hill" and item.number != number]
    assert undone_since(records, standing, later) == ON
    creek = [item for item in records if item.block == "creek"]
    assert undone_since(records, creek, later) is None
    assert undone_since([], [], later) is None


def test_what_cannot_be_read_is_told_and_the_rest_is_there(tmp_path: Path) -> None:
    good = grower(tmp_path / "good")
    (tmp_path / "faulty").mkdir()
    (tmp_path / "faulty" / "season.toml").write_text(edited(("schema = 1", "schema = 9"), text=SAMPLE))
    damaged = grower(tmp_path / "damaged")
    (damaged / "records.db").write_bytes(b"no database" * 100)
    found = summary_on(tmp_path / "faulty", damaged, good, tmp_path / "nowhere")
    assert found.folders == 1
    assert len(found.rows) == 3
    told = {Path(fault.folder).name: fault.message for fault in found.faults}
    assert list(told) == ["faulty", "nowhere", "damaged"]
    assert told["faulty"].startswith("season.toml, line 4, schema: ")
    assert told["nowhere"].startswith("there is no such folder")
    assert told["damaged"].startswith("records.db: ")


def test_a_record_that_is_not_as_written_leaves_the_other_farms_alone(tmp_path: Path) -> None:
    good, odd = grower(tmp_path / "good"), grower(tmp_path / "odd")
    with sqlite3.connect(odd / "records.db") as db:
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE records SET content = '{}' WHERE kind = 'result'")
    found = summary_on(good, odd)
    assert len(found.rows) == 3
    assert [fault.folder for fault in found.faults] == [str(odd)]
    assert "fertadjust audit says which" in found.faults[0].message


def test_records_are_read_once_for_all_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    where, read = grower(tmp_path / "larkrise"), []
    every = Records.all

    def counted(self: Records, *args: object) -> object:
        read.append(self)
        return every(self, *args)  # type: ignore[arg-type]

    monkeypatch.setattr(Records, "all", counted)
    assert len(summary_on(where).rows) == 3
    assert len(read) == 1


def test_a_day_before_the_results_came_knows_none(tmp_path: Path) -> None:
    found = summary_on(grower(tmp_path / "larkrise"), on=date(2026, 3, 11))
    assert {value_words(row.standing) for row in found.rows} == {"none"}


def test_data_is_plain_and_in_each_seasons_own_units(tmp_path: Path) -> None:
    us, metric = grower(tmp_path / "us"), grower(tmp_path / "metric", metric_text())
    found = summary_on(us, metric)
    assert found.units is None
    assert summary_on(us).units is UnitSystem.US
    data = json.loads(json.dumps(summary_data(found)))
    assert data["on"] == "2026-03-12"
    assert data["faults"] == []
    first, second = (
        next(item for item in data["blocks"] if item["block"] == "creek" and item["units"]["rate"] == unit)
        for unit in ("lb N/ac/week", "kg N/ha/week")
    )
    assert first["urgency"] == "today"
    assert first["needs"][0]["matter"] == "decision to make"
    assert first["action"] == "raise"
    assert first["result"]["value"] == 300
    assert (first["result"]["side"], first["result"]["age_days"], first["result"]["stale"]) == ("below", 2, False)
    assert first["nitrogen"]["cap"] == 130
    assert second["nitrogen"]["cap"] == pytest.approx(130)
    assert second["nitrogen"]["so_far"] == pytest.approx(60 + 3.5 + 3.5)
    assert second["units"] == {"rate": "kg N/ha/week", "total": "kg N/ha"}
    lane = next(item for item in data["blocks"] if item["block"] == "lane")
    assert lane["result"] is None
    assert lane["rates_decided"] is None


def metric_text() -> str:
    """The sample season with its numbers taken for metric ones, bounds wide enough for them."""
    return edited(*METRIC, text=SAMPLE)


def test_faults_stand_in_the_data(tmp_path: Path) -> None:
    data = summary_data(summary_on(tmp_path / "nowhere"))
    assert data["blocks"] == []
    assert [set(fault) for fault in data["faults"]] == [{"folder", "message"}]


def test_blocks_with_needs_of_an_urgency(tmp_path: Path) -> None:
    found = summary_on(grower(tmp_path / "larkrise"))
    assert [row.standing.block.key for row in found.with_needs(Urgency.TODAY)] == ["creek", "lane"]
    assert [row.standing.block.key for row in found.with_needs(Urgency.THIS_WEEK)] == ["creek", "lane", "hill"][
        ::2
    ]


# --- words ---------------------------------------------------------------------------------------------------

CAME = support.day_in(6, 5)


def test_words_for_a_result() -> None:
    low = standing_of(support.season(support.result(900)), CAME)
    bound = standing_of(support.season(support.result(4000, censor=Censor.BELOW)), CAME)
    nothing = standing_of(support.season(), CAME)
    assert (value_words(low), side_words(low)) == ("900 ppm", "below")
    assert (value_words(bound), side_words(bound)) == ("<4,000 ppm", "not clear")
    assert (value_words(nothing), side_words(nothing)) == ("none", "")


def test_words_for_rates() -> None:
    raised = standing_of(support.season(support.result(900)), CAME)
    held = standing_of(support.season(support.result(4000)), CAME)
    last = standing_of(support.season(), support.day_in(12, 1))
    assert (rates_shown(raised), first_change(raised)) == (("5.25", "7.00"), ("5.25", "7.00"))
    assert (rates_shown(held), first_change(held)) == (("5.25", ""), ("5.25", "5.25"))
    assert (rates_shown(last), first_change(last)) == (("nothing", ""), ("none", "none"))
    own = replace(raised, decided_lb_ac=(5.25, 6.0))
    assert (rates_shown(own), first_change(own)) == (("5.25", "5.25, then 6.00"), ("5.25", "6.00"))


def test_words_for_what_the_cap_leaves() -> None:
    free = standing_of(support.season(), CAME)
    assert left_words(free) == "no cap"
    assert left_words(replace(free, cap_lb_ac=60.0, left_lb_ac=12.5)) == "12.50"
    over = replace(free, cap_lb_ac=60.0, left_lb_ac=0.0, over_lb_ac=4.2, units=UnitSystem.METRIC)
    assert left_words(over) == f"over by {4.2 * KG_HA_PER_LB_AC:.2f}"


def test_forty_blocks_are_looked_through_without_searching_for_what_would_change_them(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def never(*_: object) -> None:
        raise AssertionError("the summary searches for results that would change an advice")

    monkeypatch.setattr("fertadjust.season.flips", never)
    monkeypatch.setattr("fertadjust.season.alternatives", never)
    assert summary_of([("farm", forty())], ON).folders == 1


def forty() -> Season:
    """A season of forty blocks without records."""
    row = SAMPLE[SAMPLE.index("[blocks.lane]") :]
    more = "".join("\n" + row.replace("[blocks.lane]", f"[blocks.b{i}]", 1) for i in range(37))
    return Season(parse_season(SAMPLE + more, Path("nowhere")))


def test_faults_given_come_before_those_found() -> None:
    given = FolderFault("other", "is missing")
    assert summary_of([], ON, [given]).faults == (given,)
