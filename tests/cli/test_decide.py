"""``decide`` and ``decisions``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fertadjust.api import Season, open_season
from fertadjust.errors import OtherForm
from fertadjust.record import Kind
from fertadjust.stored import Decided
from tests.cli.conftest import Refused, Run, contents, too_wide

DAY = ["--block", "creek", "--on", "2026-03-21"]


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture
def low(run: Run, fresh: Path) -> Path:
    """A season with a result well below its band."""
    run("results", "add", "--block", "creek", "--sampled", "2026-03-18", "--received", "2026-03-21",
        "--value", "2300", "--petioles", "25", "--season", fresh)  # fmt: skip
    return fresh


def decided(where: Path) -> Decided:
    (found,) = open_season(where).decisions()
    return found


def test_advice_is_accepted(run: Run, low: Path) -> None:
    output = run("decide", *DAY, "--accept", "--by", "ann", "--season", low).output
    assert "Raise nitrogen from 5.25 to 7.00 lb N/ac/week" in words(output)
    assert "Record 3, decided by ann, in lb N/ac/week: week 4: 7.00, week 5: 7.00." in words(output)
    assert too_wide(output) == []
    found = decided(low)
    assert (found.choice, found.by, set(found.rates_lb_ac.values())) == ("accept", "ann", {7.0})


def test_another_rate_is_decided(run: Run, low: Path) -> None:
    run("decide", *DAY, "--rate", "6", "--reason", "crop load is light", "--season", low)
    found = decided(low)
    assert (found.choice, found.reason, set(found.rates_lb_ac.values())) == ("change", "crop load is light", {6.0})


def test_advice_is_left(run: Run, low: Path) -> None:
    run("decide", *DAY, "--leave", "--reason", "rain forecast all week", "--season", low)
    found = decided(low)
    assert (found.choice, found.rates_lb_ac) == ("leave", {})


def test_a_metric_rate_is_decided(run: Run, low: Path) -> None:
    path = low / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    run("decide", *DAY, "--rate", "6", "--reason", "x", "--season", low)
    assert list(decided(low).rates_lb_ac.values()) == pytest.approx([6 / 1.120851] * 2)


def test_what_is_left_out_is_asked_for(run: Run, low: Path) -> None:
    output = run("decide", "--on", "2026-03-21", "--season", low, input="creek\nchange\n6\nlight crop\n").output
    for question in ("Block (creek, hill, lane): ", "Decision (accept, change, leave): ", "Why: "):
        assert question in output
    assert "Weekly rate [lb N/ac/week]: " in output
    found = decided(low)
    assert (found.choice, found.reason) == ("change", "light crop")


def test_own_rule_values_are_told_before_anything_is_asked(run: Run, low: Path) -> None:
    with (low / "season.toml").open("a") as file:
        file.write("\n[policy]\nraise_largest = 0.4\n")
    output = run("decide", *DAY, "--season", low, input="accept\n").output
    own = "Your own rule value: raise_largest = 0.4 share of the rate instead of 0.5 share of the rate (season"
    advised, told, asked_, written = (
        words(output).index(text) for text in ("Raise nitrogen from 5.25", own, "Decision (", "Record 4, decided")
    )
    assert advised < told < asked_ < written
    assert too_wide(output) == []


def test_accepting_asks_for_no_reason(run: Run, low: Path) -> None:
    output = run("decide", *DAY, "--season", low, input="accept\n").output
    assert "Why" not in output
    assert decided(low).choice == "accept"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ([], "--accept, --rate or --leave: is missing, and there is nobody to ask"),
        (["--rate", "6"], "--reason: is missing, and there is nobody to ask"),
        (["--leave"], "--reason: is missing, and there is nobody to ask"),
        (["--leave", "--reason", "  "], 'reason: "leave" needs a reason'),
        (["--accept", "--leave"], "choose one of --accept, --rate and --leave"),
        (["--accept", "--rate", "6"], "choose one of --accept, --rate and --leave"),
        (["--rate", "6", "--leave"], "choose one of --accept, --rate and --leave"),
        (["--rate", "7.5", "--reason", "x"], "rate: 7.50 is outside the bounds of 3.00 to 7.00 lb N/ac/week"),
        (["--rate", "2", "--reason", "x"], "rate: 2.00 is outside the bounds of 3.00 to 7.00 lb N/ac/week"),
        (["--rate", "0", "--reason", "x"], "rate: 0.00 is outside the bounds"),
        (["--rate", "nan", "--reason", "x"], "rate: nan is outside the bounds"),
        (["--accept", "--on", "2026-06-01"], "on: 2026-06-01 is after today, 2026-05-20"),
        (["--accept", "--on", "2026-05-19"], "no week of the plan begins on 2026-05-19 or later"),
        (["--accept", "--block", "brook"], 'there is no block "brook"'),
    ],
)
def test_a_decision_that_will_not_do_is_not_written(
    refused: Refused, low: Path, given: list[str], told: str
) -> None:
    assert told in words(refused("decide", *DAY, *given, "--season", low))


def test_a_rate_past_the_season_cap_is_refused(refused: Refused, low: Path) -> None:
    path = low / "season.toml"
    path.write_text(path.read_text().replace("season_cap = 130", "season_cap = 80"))
    told = refused("decide", *DAY, "--rate", "7", "--reason", "x", "--season", low)
    assert "2 weeks at that rate pass the season cap, which leaves 7.75 lb N/ac" in told


def test_deciding_again_on_the_same_day_replaces_the_first(run: Run, low: Path) -> None:
    run("decide", *DAY, "--accept", "--season", low)
    run("decide", *DAY, "--leave", "--reason", "rain", "--season", low)
    assert decided(low).choice == "leave"
    kinds = [record.kind for record in open_season(low).records.all()]
    assert kinds == [Kind.PLAN, Kind.RESULT, Kind.DECISION, Kind.DECISION]


# --- decisions ----------------------------------------------------------------------------------------------


def test_decisions_are_listed_with_advice_and_reason(run: Run, lived: Path) -> None:
    before = contents(lived)
    output = run("decisions", "--season", lived).output
    assert too_wide(output) == []
    text = words(output)
    assert "Sat 7 Mar 2026, record " in text
    assert "advised: " in text
    assert "grower: change: 4.20 advised: Raise nitrogen" in text
    assert "reason: not all the way back at once" in text
    assert "left as it was" in text
    assert len([line for line in output.splitlines() if "record " in line]) == 19
    assert contents(lived) == before


def test_decisions_of_one_block_are_listed(run: Run, lived: Path) -> None:
    output = run("decisions", "--block", "Lane end", "--season", lived).output
    assert len([line for line in output.splitlines() if "record " in line]) == 6


def test_every_decision_is_derived_again_as_it_was(run: Run, lived: Path) -> None:
    output = run("decisions", "--block", "hill", "--check", "--season", lived).output
    assert words(output).count("[derived again: same]") == 7
    assert "DIFFERS" not in output
    assert too_wide(output) == []


def test_decisions_are_the_same_after_corrections_and_another_plan(run: Run, lived: Path) -> None:
    numbers = [item["record"] for item in json.loads(run("results", "list", "--json", "--season", lived).output)]
    run("results", "correct", numbers[0], "--value", "4500", "--reason", "misread", "--season", lived)
    run("results", "void", numbers[3], "--reason", "wrong field", "--season", lived)
    path = lived / "season.toml"
    path.write_text(path.read_text().replace("ceiling = 7.0", "ceiling = 6.0").replace("rate = 3.5", "rate = 4.5"))
    output = run("decisions", "--block", "creek", "--check", "--season", lived).output
    assert words(output).count("[derived again: same]") == 6


def test_decisions_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(run("decisions", "--season", lived, "--json").output)
    assert len(data) == 19
    assert {
        "record", "on", "by", "choice", "action", "advised", "reason", "rates_lb_ac", "factor",
    } <= set(data[0])  # fmt: skip
    assert "same" not in data[0]
    assert data[0]["on"] == "2026-03-07"
    checked = json.loads(run("decisions", "--block", "lane", "--check", "--season", lived, "--json").output)
    assert {item["same"] for item in checked} == {True}


def test_a_decision_that_comes_out_differently_is_told(
    run: Run, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = open_season(lived).decisions("lane")[0].record
    monkeypatch.setattr("fertadjust.api.Season.advised", lambda self, number: {"number": number})
    result = run("decisions", "--block", "lane", "--check", "--season", lived, code=2)
    assert "DIFFERS" in result.stdout
    assert f"record {first}" in result.stdout
    assert "a decision's advice could not be derived again as it was stored" in result.stderr


def test_a_season_without_decisions_says_how_to_begin(run: Run, fresh: Path) -> None:
    assert run("decisions", "--season", fresh).output == (
        "There are no decisions yet. Make one with: fertadjust decide\n"
    )
    assert json.loads(run("decisions", "--season", fresh, "--json").output) == []


def test_an_unknown_block_is_told(refused: Refused, lived: Path) -> None:
    assert 'there is no block "brook"' in refused("decisions", "--block", "brook", "--season", lived)


def of_another_form(lived: Path, block: str, monkeypatch: pytest.MonkeyPatch) -> int:
    """Make the first decision of a block one that older rules were stored with; its record."""
    season = open_season(lived)
    number = season.decisions(block)[0].record
    true = Season._decision

    def changed(self: Season, wanted: int) -> dict[str, Any]:
        content = true(self, wanted)
        if wanted != number:
            return content
        old = {key: value for key, value in content["basis"]["policy"].items() if key != "stage_doubt_days"}
        return content | {"basis": content["basis"] | {"policy": old, "program": "fertadjust 0.1.0"}}

    monkeypatch.setattr(Season, "_decision", changed)
    return number


def test_a_decision_made_with_rules_of_another_form_is_told_and_fails_nothing(
    run: Run, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = of_another_form(lived, "lane", monkeypatch)
    with pytest.raises(OtherForm, match=r"made with fertadjust 0\.1\.0, whose rules or band tables had"):
        open_season(lived).derive_again(number)
    output = run("decisions", "--block", "lane", "--check", "--season", lived).output
    assert too_wide(output) == []
    text = words(output)
    assert text.count("[made with rules of another form: not derived again]") == 1
    assert f"record {number}, grower: " in text.split("[made with rules")[0].rsplit("derived again", 1)[-1]
    assert text.count("[derived again: same]") == 5 and "DIFFERS" not in text
    checked = json.loads(run("decisions", "--block", "lane", "--check", "--season", lived, "--json").output)
    assert {item["record"]: item["same"] for item in checked}[number] is None
    assert [item["same"] for item in checked].count(True) == 5


def test_one_of_another_form_does_not_hide_one_that_differs(
    run: Run, lived: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    of_another_form(lived, "lane", monkeypatch)
    true = Season.advised
    monkeypatch.setattr(Season, "advised", lambda self, number: true(self, number) | {"on": "never"})
    result = run("decisions", "--block", "lane", "--check", "--season", lived, code=2)
    assert words(result.stdout).count("[made with rules of another form: not derived again]") == 1
    assert words(result.stdout).count("[DIFFERS]") == 5
