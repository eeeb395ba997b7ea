"""``results``: entered, imported, listed, corrected, voided."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.record import Kind
from fertadjust.shipped import folder
from fertadjust.tissue import Method, Tissue, TissueResult
from tests.cli.conftest import Refused, Run, contents, too_wide

ADD = ["results", "add", "--block", "creek", "--sampled", "2026-05-18", "--value", "2310"]


def results(where: Path, block: str = "creek") -> tuple[TissueResult, ...]:
    return open_season(where).block(block).results


def words(text: str) -> str:
    return " ".join(text.split())


# --- add ----------------------------------------------------------------------------------------------------


def test_a_result_is_entered_by_options_without_a_question(run: Run, fresh: Path) -> None:
    output = run(*ADD, "--petioles", "25", "--received", "2026-05-20", "--by", "ann", "--season", fresh).output
    assert output == "Record 2: petiole NO3-N, dry weight 2,310 ppm of block creek.\n"
    (result,) = results(fresh)
    assert (result.value, result.sampled, result.received, result.petioles) == (
        2310,
        date(2026, 5, 18),
        date(2026, 5, 20),
        25,
    )
    assert [(record.kind, record.author) for record in open_season(fresh).records.all()] == [
        (Kind.PLAN, "ann"),
        (Kind.RESULT, "ann"),
    ]


def test_every_field_can_be_given(run: Run, fresh: Path) -> None:
    run(
        *(
            "results",
            "add",
            "--season",
            fresh,
            "--block",
            "Lane end",
            "--sampled",
            "2026-05-18",
            "--value",
            "<450",
        ),
        *("--tissue", "petiole", "--basis", "sap", "--analyte", "NO3", "--unit", "mg/L", "--petioles", "20"),
        *("--method", "meter", "--laboratory", "none", "--sample-id", "L9", "--note", "at nine"),
    )
    (result,) = results(fresh, "lane")
    assert result.value == pytest.approx(450 * 14.0067 / 62.0049)
    assert (result.censor.value, result.method.value, result.sample_id, result.note) == (
        "<",
        "meter",
        "L9",
        "at nine",
    )


def test_what_is_left_out_is_asked_for(run: Run, fresh: Path) -> None:
    answers = ["hill", "2026-05-18", "", "4,200", "", "", "30", ""]
    output = run("results", "add", "--season", fresh, input="\n".join(answers) + "\n").output
    for question in (
        "Block (creek, hill, lane): ",
        "Sampled on (year-month-day): ",
        "Tissue (petiole, leaf) [petiole]: ",
        "Value (<10 and >5000 are understood): ",
        "Analyte [NO3-N]: ",
        "Unit [ppm]: ",
        "Petioles in the sample (Enter: not noted): ",
        "Received on [2026-05-20]: ",
    ):
        assert question in output
    (result,) = results(fresh, "hill")
    assert (result.value, result.petioles, result.received) == (4200, 30, date(2026, 5, 20))
    assert too_wide(output) == []


def test_a_leaf_is_asked_for_in_its_own_unit(run: Run, fresh: Path) -> None:
    answers = ["2026-05-18", "leaf", "3.1", "", "", "", ""]
    output = run("results", "add", "--season", fresh, "--block", "hill", input="\n".join(answers) + "\n").output
    assert "Analyte [N]: " in output
    assert "Unit [%]: " in output
    (result,) = results(fresh, "hill")
    assert (result.tissue, result.value, result.petioles) == (Tissue.LEAF, 3.1, None)


def test_a_season_with_one_block_does_not_ask_which(run: Run, fresh: Path) -> None:
    path = fresh / "season.toml"
    text = path.read_text()
    zones = text[text.index("[zones.hill-upper]") : text.index("[blocks.creek]")]
    path.write_text(text[: text.index("[blocks.hill]")].replace(zones, ""))
    run("results", "add", "--sampled", "2026-05-18", "--value", "2310", "--season", fresh)
    assert len(results(fresh)) == 1


def test_a_mistyped_answer_is_asked_for_again(run: Run, fresh: Path) -> None:
    output = run(*ADD[:4], "--value", "2310", "--season", fresh, input="soon\n2026-05-18\n\n\n\n\n\n").output
    assert 'Error: "soon" is not a date' in output
    assert len(results(fresh)) == 1


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (ADD[:2] + ADD[4:], "--block: is missing, and there is nobody to ask"),
        (ADD[:4] + ADD[6:], "--sampled: is missing, and there is nobody to ask"),
        (ADD[:6], "is missing, and there is nobody to ask"),
    ],
)
def test_with_nobody_to_ask_what_is_missing_is_told(
    refused: Refused, fresh: Path, given: list[str], told: str
) -> None:
    assert told in refused(*given, "--season", fresh)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["--block", "brook"], 'block: there is no block "brook"; there are: creek, hill, lane'),
        (["--sampled", "2026-05-21"], "sampled: 2026-05-21 is after today, 2026-05-20"),
        (["--sampled", "2025-10-01"], "sampled: 2025-10-01 is before planting on 2025-10-14"),
        (["--received", "2026-05-17"], "received: 2026-05-17 is before the sample was taken on 2026-05-18"),
        (["--received", "2026-05-21"], "received: 2026-05-21 is after today"),
        (["--value", "much"], 'value: "much" is not a value'),
        (["--value", "0"], "value: 0 is no measured value"),
        (["--value", "nan"], 'value: "nan" is not a finite number'),
        (["--unit", "mg/L"], 'unit: "mg/L" is not a unit of dry tissue'),
        (["--basis", "sap", "--unit", "%"], 'unit: "%" is not a unit of sap'),
        (["--analyte", "nitrate"], 'analyte: "nitrate" can mean NO3 or NO3-N, a factor of 4.43'),
        (["--tissue", "leaf", "--basis", "sap"], "basis: sap goes with petioles"),
    ],
)
def test_a_result_that_will_not_do_is_not_taken(
    refused: Refused, fresh: Path, given: list[str], told: str
) -> None:
    assert f"Error: {told}" in refused(*ADD, *given, "--season", fresh)


def test_every_fault_of_a_result_is_told(refused: Refused, fresh: Path) -> None:
    told = refused(
        *ADD, "--value", "much", "--sampled", "2026-06-01", "--received", "2026-05-30", "--season", fresh
    )
    assert [line.split(":")[1].strip() for line in told.splitlines()] == [
        "value",
        "sampled",
        "received",
        "received",
    ]


UNUSUAL = [
    (["--tissue", "leaf", "--value", "35"], "Unusual: 35.00 % is unusual for leaf N, dry weight"),
    (["--value", "500", "--sampled", "2026-03-25"], "looks like a sap reading in mg/L: is it dry weight?"),
    (["--value", "45000"], "Unusual: 45,000 ppm is unusual for petiole NO3-N"),
]


@pytest.mark.parametrize(("given", "question"), UNUSUAL)
def test_an_unusual_value_is_asked_about_and_taken_on_a_yes(
    run: Run, fresh: Path, given: list[str], question: str
) -> None:
    output = run(*ADD, *given, "--season", fresh, input="y\n").output
    assert question in words(output)
    assert "Take it as it is?" in output
    assert too_wide(output) == []
    assert len(results(fresh)) == 1


@pytest.mark.parametrize("answer", ["n\n", "\n", None])
@pytest.mark.parametrize(("given", "question"), UNUSUAL)
def test_an_unusual_value_is_not_taken_without_a_yes(
    refused: Refused, fresh: Path, given: list[str], question: str, answer: str | None
) -> None:
    told = refused(*ADD, *given, "--season", fresh, input=answer)
    assert "value: was not taken; enter it again, or with --confirm" in told


def test_an_unusual_value_is_taken_when_confirmed(run: Run, fresh: Path) -> None:
    output = run(*ADD, "--value", "45000", "--confirm", "--season", fresh).output
    assert output.startswith("Record 2: ")


def test_another_year_is_asked_about(run: Run, refused: Refused, fresh: Path) -> None:
    path = fresh / "season.toml"
    path.write_text(path.read_text().replace("planted = 2025-10-14\n", ""))
    refused(*ADD, "--sampled", "2025-05-18", "--season", fresh)
    output = run(*ADD, "--sampled", "2025-05-18", "--season", fresh, input="y\n").output
    assert "2025-05-18 is far from the season, 2026-03-02 to 2026-05-24: is the year right?" in words(output)


def test_a_result_that_stands_already_is_asked_about(run: Run, refused: Refused, fresh: Path) -> None:
    run(*ADD, "--season", fresh)
    refused(*ADD, "--season", fresh)
    output = run(*ADD, "--season", fresh, input="y\n").output
    assert "the same result stands as record 2 already: is this another sample?" in words(output)
    run(*ADD, "--sample-id", "b", "--season", fresh)
    assert len(results(fresh)) == 3


SAP = ["--basis", "sap", "--unit", "mg/L", "--petioles", "25"]


def test_a_meter_on_diluted_sap_is_entered_by_its_own_name(run: Run, refused: Refused, fresh: Path) -> None:
    for method in ("meter", "meter-diluted"):
        given = (*ADD, *SAP, "--sample-id", method, "--method", method)
        run(*given, "--season", fresh, "--confirm")
    assert [item.method for item in results(fresh)] == [Method.METER, Method.METER_DILUTED]
    told = refused(*ADD, *SAP, "--method", "guess", "--season", fresh)
    assert "'laboratory', 'meter', 'meter-diluted'" in told


# --- import -------------------------------------------------------------------------------------------------

HEADER = "block,sampled,received,tissue,value,petioles\n"
GOOD = HEADER + (
    "creek,2026-05-11,2026-05-14,petiole,2310,25\n\nhill,2026-05-11,2026-05-14,leaf,3.1,\n"
    "lane,2026-05-11,,petiole,<900,20\n"
)


def csv(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "report.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_results_are_imported(run: Run, fresh: Path, tmp_path: Path) -> None:
    output = run("results", "import", csv(tmp_path, GOOD), "--season", fresh, "--by", "ann").output
    assert output.endswith("Took 3 results from report.csv: records 2 to 4.\n")
    assert [results(fresh, block)[0].value for block in ("creek", "hill", "lane")] == [2310, 3.1, 900]
    assert {record.author for record in open_season(fresh).records.all()} == {"ann"}


def test_the_sample_results_are_imported_as_a_spreadsheet_saves_them(
    run: Run, fresh: Path, tmp_path: Path
) -> None:
    data = (folder("sample_data") / "strawberry" / "results.csv").read_bytes().replace(b"\n", b"\r\n")
    run("results", "import", csv(tmp_path, b"\xef\xbb\xbf" + data), "--season", fresh, "--confirm")
    assert len(open_season(fresh).records.all(Kind.RESULT)) == data.count(b"\r\n") - 1


def test_the_method_is_imported_by_its_name(run: Run, fresh: Path, tmp_path: Path) -> None:
    rows = ["laboratory", "meter", "meter-diluted", "Meter diluted", ""]
    text = "block,sampled,basis,value,unit,petioles,method\n" + "".join(
        f"creek,2026-05-{day},sap,450,mg/L,25,{method}\n" for day, method in enumerate(rows, start=11)
    )
    run("results", "import", csv(tmp_path, text), "--season", fresh)
    assert [item.method.value for item in results(fresh)] == [
        "laboratory",
        "meter",
        "meter-diluted",
        "meter-diluted",
        "laboratory",
    ]
    listed = json.loads(run("results", "list", "--json", "--season", fresh).output)
    assert [item["method"] for item in listed] == [item.method.value for item in results(fresh)]


def test_the_same_file_twice_adds_nothing_and_says_so(run: Run, fresh: Path, tmp_path: Path) -> None:
    path = csv(tmp_path, GOOD)
    run("results", "import", path, "--season", fresh)
    before = contents(fresh)
    told = run("results", "import", path, "--season", fresh).output
    assert "Stands already: 3" in told
    assert told.endswith("Nothing to add: all that report.csv says is on record already.\n")
    assert contents(fresh) == before


def test_every_fault_of_every_row_is_told_and_nothing_taken(refused: Refused, fresh: Path, tmp_path: Path) -> None:
    text = HEADER + (
        "creek,2026-05-11,2026-05-14,petiole,2310,25\n"
        "brook,2026-05-11,2026-05-14,petiole,2310,many\n"
        "creek,2026-05-32,2026-05-14,petiole,2310,25\n"
        "creek,2026-05-11,2026-05-10,petiole,much,25\n"
        "creek,2026-05-11,2026-05-10,root,0,25\n"
        "hill,2026-05-11,2026-05-14,leaf,35,25\n"
        "lane,2026-05-21,,petiole,900,20\n"
    )
    told = refused("results", "import", csv(tmp_path, text), "--season", fresh)
    assert [line.removeprefix("Error: ").split(":")[0] for line in told.splitlines()] == [
        "report.csv, line 3, petioles",
        "report.csv, line 3",
        "report.csv, line 4, sampled",
        "report.csv, line 5, value",
        "report.csv, line 6, tissue",
        "report.csv, line 6, value",
        "report.csv, line 6, received",
        "report.csv, line 7, value",
        "report.csv, line 8, sampled",
        "report.csv",
    ]
    assert '"brook" (1 value) is of no block of this season (creek, hill, lane)' in told
    assert not open_season(fresh).records.all()


def test_an_unusual_value_in_a_file_is_taken_when_confirmed(
    run: Run, refused: Refused, fresh: Path, tmp_path: Path
) -> None:
    path = csv(tmp_path, "block,sampled,tissue,value\nhill,2026-05-11,leaf,35\n")
    told = refused("results", "import", path, "--season", fresh)
    assert "report.csv, line 2, value: 35.00 % is unusual for leaf N, dry weight" in told
    assert "Confirm it to take it." in told
    run("results", "import", path, "--season", fresh, "--confirm")
    assert results(fresh, "hill")[0].value == 35


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "report.csv: the file is empty"),
        (HEADER.encode(), "report.csv: there are no results below the header"),
        (b"block,sampled\ncreek,2026-05-11\n", "report.csv, line 1: there is no column of values"),
        (b"block,sampled,value\ncreek,2026-05-11\n", "report.csv, line 2: was passed over: no value"),
        (b"block,sampled,value\ncreek,2026-05-11,2310,9\n", 'report.csv, line 2: "9" stands in column 4 or later'),
        (b"%PDF-1.7 and so on", "report.csv: this is a PDF"),
    ],
)
def test_a_file_that_will_not_do_is_told(
    refused: Refused, fresh: Path, tmp_path: Path, data: bytes, told: str
) -> None:
    assert f"Error: {told}" in refused("results", "import", csv(tmp_path, data), "--season", fresh)


def test_a_missing_file_is_told(refused: Refused, fresh: Path) -> None:
    assert "Error: report.csv: there is no such file" in refused(
        "results", "import", "report.csv", "--season", fresh
    )


# --- list ---------------------------------------------------------------------------------------------------


def test_results_are_listed(run: Run, lived: Path) -> None:
    before = contents(lived)
    output = run("results", "list", "--season", lived).output
    lines = output.splitlines()
    assert lines[0].split() == ["record", "block", "sampled", "kind", "value", "count"]
    assert any(line.split()[:3] == ["125", "creek", "2026-05-13"] and "850 ppm" in line for line in lines)
    assert "replaced" not in output
    assert too_wide(output) == []
    assert contents(lived) == before


def test_results_of_one_block_are_listed(run: Run, lived: Path) -> None:
    for name in ("lane", "Lane end"):
        lines = run("results", "list", "--block", name, "--season", lived).output.splitlines()
        assert {line.split()[1] for line in lines[2:]} == {"lane"}


def test_replaced_and_voided_results_are_listed_when_asked(run: Run, lived: Path) -> None:
    output = run("results", "list", "--all", "--season", lived).output
    assert re.search(r"voids (record )?83\b", output)
    assert "the report is about Creek side" in words(output)
    assert len(output.splitlines()) > len(run("results", "list", "--season", lived).output.splitlines())
    assert too_wide(output) == []


def test_results_are_listed_for_machines(run: Run, lived: Path) -> None:
    data = json.loads(run("results", "list", "--season", lived, "--json").output)
    assert {item["standing"] for item in data} == {True}
    assert {
        "record", "block", "standing", "replaces", "reason", "author", "written", "sampled", "received", "tissue",
        "basis", "analyte", "value", "unit", "censor", "petioles", "method", "laboratory", "sample_id", "note",
        "reported",
    } == set(data[0])  # fmt: skip
    everything = json.loads(run("results", "list", "--all", "--season", lived, "--json").output)
    void = next(item for item in everything if item["replaces"] == 83)
    assert (void["reason"], "value" in void) == ("the report is about Creek side", False)
    assert [item["record"] for item in everything if not item["standing"]] != []


def test_a_season_without_results_says_how_to_begin(run: Run, fresh: Path) -> None:
    output = run("results", "list", "--season", fresh).output
    assert output == "There are no results yet. Enter one with: fertadjust results add\n"
    assert json.loads(run("results", "list", "--season", fresh, "--json").output) == []
    assert [path.name for path in fresh.iterdir()] == ["season.toml"]


def test_an_unknown_block_is_told(refused: Refused, lived: Path) -> None:
    assert 'there is no block "brook"' in refused("results", "list", "--block", "brook", "--season", lived)


# --- correct and void ---------------------------------------------------------------------------------------


def test_a_result_is_corrected(run: Run, fresh: Path) -> None:
    run(*ADD, "--value", "23100", "--petioles", "25", "--season", fresh)
    output = run(
        "results", "correct", "2", "--value", "2310", "--reason", "misread", "--season", fresh, "--by", "ben"
    ).output
    assert output == "Record 3 replaces record 2.\n"
    (result,) = results(fresh)
    assert (result.value, result.petioles) == (2310, 25)
    listed = run("results", "list", "--all", "--season", fresh).output.splitlines()
    assert listed[2].endswith("replaced")
    assert listed[3].endswith("replaces 2")
    assert "misread" in listed[-1]
    data = json.loads(run("results", "list", "--season", fresh, "--json").output)
    assert (data[0]["reason"], data[0]["author"], data[0]["replaces"]) == ("misread", "ben", 2)


def test_a_result_moves_to_the_right_block(run: Run, fresh: Path) -> None:
    run(*ADD, "--season", fresh)
    run("results", "correct", "2", "--block", "Hill top", "--reason", "wrong field", "--season", fresh)
    assert (results(fresh, "creek"), len(results(fresh, "hill"))) == ((), 1)


def test_the_reason_is_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    run(*ADD, "--season", fresh)
    told = refused("results", "correct", "2", "--value", "2400", "--season", fresh)
    assert "--reason: is missing, and there is nobody to ask" in told
    assert "--reason: is missing" in refused("results", "void", "2", "--season", fresh)
    run("results", "correct", "2", "--value", "2400", "--season", fresh, input="misread\n")
    run("results", "void", "3", "--season", fresh, input="wrong field\n")
    assert [(record.kind, record.reason) for record in open_season(fresh).records.all()] == [
        (Kind.PLAN, ""),
        (Kind.RESULT, ""),
        (Kind.RESULT, "misread"),
        (Kind.RESULT, "wrong field"),
    ]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (["2"], "nothing to correct was given; name the fields that change, such as --value 2310"),
        (["7", "--value", "2400"], "there is no standing result 7"),
        (["2", "--value", "much"], 'value: "much" is not a value'),
        (["2", "--value", "45000"], "value: 45,000 ppm is unusual"),
        (["2", "--sampled", "2026-06-01"], "sampled: 2026-06-01 is after today"),
        (["1", "--value", "2400"], "there is no standing result 1"),
        (["3", "--value", "2400"], "there is no standing result 3"),
    ],
)
def test_a_correction_that_will_not_do_is_refused(
    run: Run, refused: Refused, fresh: Path, given: list[str], told: str
) -> None:
    run(*ADD, "--season", fresh)
    run("log", "application", "--block", "creek", "--n", "2", "--season", fresh)
    assert told in refused("results", "correct", *given, "--reason", "misread", "--season", fresh)


def test_an_unusual_correction_is_taken_when_confirmed(run: Run, fresh: Path) -> None:
    run(*ADD, "--season", fresh)
    run("results", "correct", "2", "--value", "45000", "--reason", "x", "--confirm", "--season", fresh)
    assert results(fresh)[0].value == 45000


def test_a_record_is_voided_once(run: Run, refused: Refused, fresh: Path) -> None:
    run(*ADD, "--season", fresh)
    output = run("results", "void", "2", "--reason", "wrong field", "--season", fresh).output
    assert output == "Record 3 voids record 2.\n"
    assert results(fresh) == ()
    assert "there is no standing record 2" in refused("results", "void", "2", "--reason", "x", "--season", fresh)
    listed = run("results", "list", "--all", "--season", fresh).output
    assert re.search(r"voids (record )?2\b", listed)


def test_the_plan_on_record_is_not_voided(refused: Refused, lived: Path) -> None:
    told = refused("results", "void", "1", "--reason", "x", "--season", lived)
    assert "the plan on record is not voided; change season.toml instead" in told


def test_a_decision_is_not_voided(refused: Refused, lived: Path) -> None:
    number = str(open_season(lived).decisions()[0].record)
    told = refused("results", "void", number, "--reason", "x", "--season", lived)
    assert "a decision is not voided; decide again instead" in told
