"""``history``, and the paragraphs that the commands print."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from pathlib import Path

import pytest

from fertadjust import words as in_words
from fertadjust.api import open_season
from fertadjust.cli.common import say
from fertadjust.history import history_data
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.cli.conftest import TODAY, Refused, Run, contents, too_wide


def words(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("block", ["creek", "hill", "lane"])
def test_a_history_fits_the_screen_and_writes_nothing(run: Run, lived: Path, block: str) -> None:
    before = contents(lived)
    for given in ([], ["--csv"], ["--json"]):
        output = run("history", "--block", block, "--season", lived, *given).output
        assert given or too_wide(output) == []
    assert contents(lived) == before


def test_a_history_says_what_was_advised_decided_and_what_followed(run: Run, lived: Path) -> None:
    output = run("history", "--block", "hill", "--season", lived).output
    text = words(output)
    season = open_season(lived)
    history = season.history("hill", TODAY)
    assert [line for line in output.splitlines() if line[:1].strip()] == [
        f"{item.advice.on:%a} {item.advice.on.day} {item.advice.on:%b %Y}" for item in history
    ]
    for item in history:
        assert in_words.result_sentence(item.advice.facts.primary, item.advice.recommendation) in text  # type: ignore[arg-type]
        assert f"advised: {in_words.headline(item.advice, season.units)}" in text
    assert "decided: accept, 4.05 lb N/ac/week, by grower" in text
    assert "decided: change, 4.20 lb N/ac/week, by grower; not all the way back at once" in text
    # 4.05 decided for the weeks from 30 March to 12 April at 3.00: 12 days of them and two of the week before
    assert (
        "next result 4,700 ppm of 8 Apr, sufficient (position in the band 0.88); 6.00 of 6.30 lb N/ac logged to "
        "10 Apr" in text
    )
    assert text.endswith("no later result; 7.87 of 8.00 lb N/ac logged to 20 May")
    assert "The advice on that day was another" not in text


def test_lines_of_one_entry_hang_below_their_words(run: Run, lived: Path) -> None:
    output = run("history", "--block", "hill", "--season", lived).output
    labels = ("  advised:  ", "  decided:  ", "  followed: ")
    below = [
        line
        for before, line in zip(output.splitlines(), output.splitlines()[1:], strict=False)
        if before.startswith((*labels, " " * 12)) and line.startswith(" ") and not line.startswith(labels)
    ]
    assert len(below) > 10
    assert all(line.startswith(" " * 12) and line[12] != " " for line in below)


def test_a_day_without_a_decision_and_one_left_say_so(run: Run, lived: Path) -> None:
    text = words(run("history", "--block", "lane", "--season", lived).output)
    assert text.count("decided: nothing on that day") == 1
    assert "decided: left as it was, by grower; waiting for the new sample" in text
    assert "next result <900 ppm of 12 May, low" in text


def test_a_decision_made_on_another_advice_says_which(run: Run, lived: Path) -> None:
    then = open_season(lived).decisions("creek")[1].advised
    path = lived / "season.toml"
    path.write_text(path.read_text().replace("ceiling = 7.0", "ceiling = 6.5"))
    text = words(run("history", "--block", "creek", "--season", lived, "--on", "2026-03-21").output)
    assert f"The advice on that day was another: {then}" in text
    assert too_wide(run("history", "--block", "creek", "--season", lived).output) == []


@pytest.mark.parametrize(
    ("day", "count"), [("2026-03-06", 0), ("2026-03-07", 1), ("2026-03-21", 2), ("2026-06-30", 6)]
)
def test_a_history_ends_on_the_day_looked_back_from(run: Run, lived: Path, day: str, count: int) -> None:
    given = ("history", "--block", "creek", "--season", lived, "--on", day)
    data = json.loads(run(*given, "--json").output)
    assert len(data["history"]) == count
    assert all(item["on"] <= day and item["followed"]["until"] <= day for item in data["history"])
    assert run(*given).output.count("advised:") == count
    assert len(run(*given, "--csv").output.splitlines()) == count + 1


def test_a_history_without_a_day_is_that_of_today(run: Run, lived: Path) -> None:
    given = ("history", "--block", "lane", "--season", lived)
    assert run(*given).output == run(*given, "--on", TODAY).output


def test_a_history_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(run("history", "--block", "Lane end", "--season", lived, "--on", TODAY, "--json").output)
    season = open_season(lived)
    expected = history_data(season.history("lane", TODAY), season.units)
    assert data == {"block": "lane", "own_rule_values": [], "history": json.loads(json.dumps(expected))}
    assert len(expected) == 7


def table(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_a_history_as_a_table_has_full_precision(run: Run, lived: Path) -> None:
    rows = table(run("history", "--block", "lane", "--season", lived, "--on", TODAY, "--csv").output)
    season = open_season(lived)
    data = history_data(season.history("lane", TODAY), season.units)
    assert len(rows) == len(data) == 7
    for row, item in zip(rows, data, strict=True):
        assert None not in row and None not in row.values()
        assert (row["on"], row["action"], row["moved by"]) == (
            item["on"],
            item["advised"]["action"],
            item["advised"]["moved_by"],
        )
        assert float(row["aimed"]) == item["followed"]["aimed"]
        assert float(row["applied"]) == item["followed"]["applied"]
        for name, rates in (
            ("rate before", item["advised"]["before"]),
            ("rate advised", item["advised"]["rates"]),
        ):
            assert [float(rate) for rate in row[name].split("; ")] == rates
        result, following, decided = item["result"], item["followed"]["result"], item["decided"]
        assert row["value"] == f"{result['censor']}{result['value']!r}"
        assert (row["sampled"], row["unit"], row["status"]) == (result["sampled"], "ppm", result["status"])
        assert row["position"] == ("" if result["position"] is None else repr(result["position"]))
        assert row["next sampled"] == ("" if following is None else following["sampled"])
        assert row["decided"] == ("" if decided is None else decided["choice"])
        assert row["reason"] == ("" if decided is None else decided["reason"])
    assert rows[-1]["value"] == "<900.0" and rows[-2]["next value"] == "<900.0"
    assert (rows[-1]["next sampled"], rows[-1]["next value"], rows[-1]["next status"]) == ("", "", "")
    assert rows[0]["band"] == "4,000 to 6,000 ppm"
    assert [row["rate decided"] for row in rows[:2]] == ["5.25", ""]


def test_a_reason_with_a_line_break_and_commas_stays_one_field(run: Run, lived: Path) -> None:
    why = 'wet, "very" wet\nand cold'
    open_season(lived).decide("lane", "leave", TODAY, reason=why, by="ann", today=TODAY)
    rows = table(run("history", "--block", "lane", "--season", lived, "--on", TODAY, "--csv").output)
    assert [row["reason"] for row in rows].count(why) == 1


def test_a_history_in_metric_units(run: Run, lived: Path) -> None:
    us = json.loads(run("history", "--block", "hill", "--season", lived, "--json").output)["history"]
    path = lived / "season.toml"
    path.write_text(path.read_text().replace('units = "us"', 'units = "metric"'))
    metric = json.loads(run("history", "--block", "hill", "--season", lived, "--json").output)["history"]
    for one, other in zip(us, metric, strict=True):
        assert other["followed"]["applied"] == pytest.approx(one["followed"]["applied"] * KG_HA_PER_LB_AC)
        for week, rate in one["decided"]["rates"].items():
            assert other["decided"]["rates"][week] == pytest.approx(rate * KG_HA_PER_LB_AC)
    text = words(run("history", "--block", "hill", "--season", lived).output)
    assert UnitSystem.METRIC.rate_unit in text and UnitSystem.METRIC.total_unit in text
    assert too_wide(text.replace(" ", "\n")) == []


def test_an_empty_season_says_how_to_begin(run: Run, fresh: Path) -> None:
    given = ("history", "--block", "creek", "--season", fresh)
    assert run(*given).output == "Nothing has come in yet. Enter a result with: fertadjust results add\n"
    empty = {"block": "creek", "own_rule_values": [], "history": []}
    assert json.loads(run(*given, "--json").output) == empty
    assert run(*given, "--csv").output.startswith("on,sampled,value,unit,band,status,position,action,")
    assert len(run(*given, "--csv").output.splitlines()) == 1


def test_which_block_is_asked_for_and_an_unknown_one_refused(run: Run, refused: Refused, lived: Path) -> None:
    assert "Block (creek, hill, lane): " in run("history", "--season", lived, input="hill\n").output
    assert 'there is no block "brook"' in refused("history", "--block", "brook", "--season", lived)
    assert "--block: is missing" in refused("history", "--season", lived)


def test_a_day_without_a_usable_result_says_so(run: Run, fresh: Path) -> None:
    season = open_season(fresh)
    season.decide("creek", "leave", date(2026, 3, 10), reason="no result yet", by="ann", today=date(2026, 3, 10))
    text = words(run("history", "--block", "creek", "--season", fresh).output)
    assert text.startswith("Tue 10 Mar 2026 There was no usable result. advised: Hold nitrogen")
    assert "decided: left as it was, by ann; no result yet" in text


def test_own_rule_values_stand_beside_a_history_even_an_empty_one(run: Run, fresh: Path) -> None:
    with (fresh / "season.toml").open("a") as file:
        file.write("\n[policy.confidence]\nvalue = 0.9\nreason = 'our laboratory repeats every sample'\n")
    given = ("history", "--block", "creek", "--season", fresh)
    told = "Your own rule value: confidence = 0.9 probability instead of 0.8 probability (our laboratory repeats"
    output = run(*given).output
    assert words(output).count(told) == 1 and too_wide(output) == []
    data = json.loads(run(*given, "--json").output)
    (own,) = data["own_rule_values"]
    assert (own["name"], own["shipped"], own["own"], own["reason"]) == (
        "confidence",
        "0.8 probability",
        "0.9 probability",
        "our laboratory repeats every sample",
    )
    assert data["history"] == []


def test_a_late_result_that_never_decided_is_told_as_the_next_one(run: Run, fresh: Path) -> None:
    """Creek's band of week 4 is 3,500 to 6,000 ppm, of week 5 3,000 to 5,000 (UGA-2021)."""
    for sampled, received, value in (
        ("2026-03-25", "2026-03-28", "4400"),
        ("2026-04-08", "2026-04-11", "4100"),
        ("2026-04-01", "2026-04-18", "1500"),
    ):
        run("results", "add", "--block", "creek", "--sampled", sampled, "--received", received,
            "--value", value, "--petioles", "25", "--season", fresh)  # fmt: skip
    given = ("history", "--block", "creek", "--season", fresh, "--on")
    before, after = (words(run(*given, day).output).split("Sat 28 Mar")[1] for day in ("2026-04-17", "2026-04-18"))
    assert before.split("next result ")[1].startswith("4,100 ppm of 8 Apr, sufficient (position in the band 0.")
    assert after.split("next result ")[1].startswith("1,500 ppm of 1 Apr, low (position in the band -1.")
    rows = table(run(*given, "2026-04-18", "--csv").output)
    assert [row["value"] for row in rows] == ["4400.0", "4100.0", "4100.0"]
    assert [row["next sampled"] for row in rows] == ["2026-04-01", "", ""]
    assert (rows[0]["next value"], rows[0]["next status"]) == ("1500.0", "low")


# --- paragraphs ---------------------------------------------------------------------------------------------

LONG = "word " * 30


@pytest.mark.parametrize(
    ("indent", "hang", "below"), [("", None, 0), ("  - ", None, 4), ("  ", 12, 12), ("      ", 2, 2), ("  ", 0, 0)]
)
def test_lines_after_the_first_hang_below_the_indent_or_by_some_columns(
    capsys: pytest.CaptureFixture[str], indent: str, hang: int | None, below: int
) -> None:
    say(LONG, indent=indent, hang=hang)
    first, *rest = capsys.readouterr().out.splitlines()
    assert first.startswith(f"{indent}word ")
    assert len(rest) >= 1
    assert all(line.startswith(" " * below + "word") for line in rest)
    assert too_wide("\n".join([first, *rest])) == []


def test_an_empty_paragraph_is_an_empty_line(capsys: pytest.CaptureFixture[str]) -> None:
    say("", hang=12)
    assert capsys.readouterr().out == "\n"
