"""``results import``: questions, dry runs, good rows, revised reports, profiles and samples' names."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fertadjust.api import open_season
from fertadjust.errors import UserError
from fertadjust.laboratories import LABORATORIES_FILE, read_laboratories
from fertadjust.record import Kind
from fertadjust.stored import result_of
from tests.cli.conftest import Refused, Run, contents, too_wide

REPORT = """\
Agricultural testing;;;;;
Date received: 14/05/2026;;;;;

Lab No;Sample ID;Field;Date sampled;Plant part;Nitrate;N
;;;;;mg/kg;%
7001;A-1;creek;11/05/2026;petiole;2310,5;
7002;A-1;creek;11/05/2026;leaf;;3,1
7003;A-2;Upper piece;13/05/2026;petiole;ND;
Average;;;;;2310,5;
"""
TOLD = ("--tell", "columns.nitrate=NO3-N", "--tell", "limits.NO3-N=10")
MONTHS = "Sample,Date sampled,Plant part,NO3-N (ppm)\ncreek,5/4/2026,petiole,2310\n"


@pytest.fixture
def report(tmp_path: Path) -> Path:
    return put(tmp_path, REPORT)


def put(where: Path, text: str, name: str = "valley.csv") -> Path:
    path = where / name
    path.write_text(text)
    return path


def values(where: Path) -> list[tuple[str, str, str]]:
    found = [result_of(item) for item in open_season(where).records.current(Kind.RESULT)]
    return [(item.block, item.analyte, item.text()) for item in found]


TAKEN = [("creek", "NO3-N", "2,310 ppm"), ("creek", "N", "3.10 %"), ("hill", "NO3-N", "<10 ppm")]


def test_what_a_report_leaves_open_is_asked_once_and_kept(run: Run, fresh: Path, report: Path) -> None:
    answers = "NO3-N\n10\nhill\nvalley-lab\n"
    output = run("results", "import", report, "--season", fresh, input=answers).output
    assert "Nitrate" in output
    assert "Sample Upper piece / A-2: which block (creek, hill, lane; Enter:" in " ".join(output.split())
    assert values(fresh) == TAKEN
    kept = read_laboratories(fresh)
    assert kept.samples == {"Upper piece": "hill"}
    assert kept.laboratories["valley-lab"].limits == {"NO3-N": 10}
    later = REPORT.replace("/05/2026", "/04/2026").replace("700", "800")
    output = run("results", "import", put(fresh, later, "april.csv"), "--season", fresh).output
    assert 'read as "valley-lab"; 3 values.' in output
    assert "as told: columns nitrate = NO3-N; limits NO3-N = 10.0" in output
    assert output.endswith("Took 3 results from april.csv: records 5 to 7.\n")
    assert too_wide(output) == []


def test_answers_are_given_by_options_as_well(run: Run, fresh: Path, report: Path) -> None:
    words = ("results", "import", report, "--season", fresh, *TOLD, "--sample", "A-2=hill")
    output = run(*words, "--laboratory", "valley-lab").output
    assert output.endswith("Took 3 results from valley.csv: records 2 to 4.\n")
    assert values(fresh) == TAKEN
    assert read_laboratories(fresh).samples == {"A-2": "hill"}
    assert list(read_laboratories(fresh).laboratories) == ["valley-lab"]


def test_without_a_name_to_keep_them_under_answers_serve_once(run: Run, fresh: Path, report: Path) -> None:
    output = run("results", "import", report, "--season", fresh, *TOLD, "--sample", "A-2=hill").output
    assert "The answers are not kept" in output
    assert values(fresh) == TAKEN
    assert read_laboratories(fresh).laboratories == {}


def test_samples_that_share_a_name_are_kept_by_another(run: Run, fresh: Path) -> None:
    text = "Sample ID,Description,Date sampled,Plant part,NO3-N (ppm)\n"
    text += "C1,Strawberry,2026-05-11,petiole,2400\nH1,Strawberry,2026-05-11,petiole,2900\n"
    run("results", "import", put(fresh, text), "--season", fresh, input="creek\nhill\n")
    assert values(fresh) == [("creek", "NO3-N", "2,400 ppm"), ("hill", "NO3-N", "2,900 ppm")]
    assert read_laboratories(fresh).samples == {"C1": "creek", "H1": "hill"}


def test_what_to_call_a_sample_by_is_its_own_name(refused: Refused, fresh: Path) -> None:
    text = "Sample ID,Description,Date sampled,Plant part,NO3-N (ppm)\n"
    text += "C1,Strawberry,2026-05-11,petiole,2400\nH1,Strawberry,2026-05-11,petiole,2900\n"
    told = refused("results", "import", put(fresh, text), "--season", fresh)
    assert '--sample "C1=BLOCK"' in told
    assert '--sample "H1=BLOCK"' in told


def test_a_bare_number_is_not_kept_as_a_samples_name(run: Run, fresh: Path) -> None:
    text = "Sample,Date sampled,Plant part,NO3-N (ppm)\n1,2026-05-11,petiole,2400\n"
    run("results", "import", put(fresh, text), "--season", fresh, "--sample", "1=creek")
    assert values(fresh) == [("creek", "NO3-N", "2,400 ppm")]
    assert not (fresh / LABORATORIES_FILE).exists()


def test_what_was_corrected_since_is_said_not_to_come_back(run: Run, fresh: Path, report: Path) -> None:
    words = ("--season", fresh, *TOLD, "--sample", "A-2=hill", "--laboratory", "valley-lab")
    run("results", "import", report, *words)
    run("results", "correct", "2", "--value", "2400", "--reason", "misread", "--season", fresh)
    output = run("results", "import", report, "--season", fresh).output
    assert "What was corrected or voided since (1) is not taken back" in " ".join(output.split())


def test_machines_are_asked_nothing(run: Run, refused: Refused, fresh: Path, report: Path) -> None:
    words = ("--season", fresh, *TOLD, "--sample", "A-2=hill")
    json.loads(run("results", "import", report, *words, "--json").output)
    again = put(fresh, REPORT.replace("2310,5;\n7002", "2410;\n7002"), "revised.csv")
    told = refused("results", "import", again, "--season", fresh, *TOLD, "--json")
    assert "record 2 says 2,310 ppm" in told


def test_open_questions_are_told_all_at_once_when_nobody_is_there(
    refused: Refused, fresh: Path, report: Path
) -> None:
    before = contents(fresh)
    told = refused("results", "import", report, "--season", fresh)
    assert '--tell "columns.nitrate=' in told
    assert "valley.csv, line" in told
    assert contents(fresh) == before


def test_the_order_of_a_date_that_could_be_either_is_asked(run: Run, refused: Refused, fresh: Path) -> None:
    path = put(fresh, MONTHS)
    assert '--tell "dates=day first|month first"' in refused("results", "import", path, "--season", fresh)
    run("results", "import", path, "--season", fresh, "--tell", "dates=month first")
    (record,) = open_season(fresh).records.all(Kind.RESULT)
    assert record.day == "2026-05-04"


def test_a_dry_run_shows_what_would_be_taken_and_writes_nothing(run: Run, fresh: Path, report: Path) -> None:
    before = contents(fresh)
    words = ("results", "import", report, "--season", fresh, *TOLD, "--sample", "A-2=hill", "--dry-run")
    output = run(*words, "--laboratory", "valley-lab").output
    assert "New: 3" in output
    assert '  passed over: line 9: a summary: "Average"' in output
    assert "Took" not in output
    assert contents(fresh) == before
    assert too_wide(output) == []


def test_a_dry_run_tells_what_will_not_do(refused: Refused, fresh: Path, report: Path) -> None:
    told = refused("results", "import", report, "--season", fresh, *TOLD, "--dry-run")
    assert '"Upper piece" / "A-2" (1 value) is of no block of this season' in told


def test_one_bad_row_keeps_the_whole_report_out(refused: Refused, fresh: Path, report: Path) -> None:
    before = contents(fresh)
    told = refused("results", "import", report, "--season", fresh, *TOLD)
    assert told.count("Error:") == 2
    assert "nothing was taken; mend it, or take the rest with --good-rows" in told
    assert contents(fresh) == before


def test_good_rows_are_taken_when_asked_and_the_rest_is_written_beside(
    run: Run, fresh: Path, tmp_path: Path, report: Path
) -> None:
    words = ("results", "import", report, "--season", fresh, *TOLD, "--good-rows", "--laboratory", "valley-lab")
    output = run(*words).output
    assert values(fresh) == TAKEN[:2]
    left = tmp_path / "valley-left-out.csv"
    assert "1 left out:" in output
    assert "valley-left-out.csv" in output
    assert "Upper piece" in left.read_text()
    first = left.read_text()
    run(*words)
    assert left.read_text() == first
    assert (tmp_path / "valley-left-out-2.csv").read_text() == first


def test_a_revised_report_is_offered_as_a_correction(
    run: Run, refused: Refused, fresh: Path, report: Path
) -> None:
    words = ("--season", fresh, *TOLD, "--sample", "A-2=hill", "--laboratory", "valley-lab")
    run("results", "import", report, *words)
    again = put(fresh, REPORT.replace("2310,5;\n7002", "2410;\n7002"), "revised.csv")
    told = refused("results", "import", again, "--season", fresh)
    assert "record 2 says 2,310 ppm, this report 2,410 ppm" in told
    output = run("results", "import", again, "--season", fresh, input="y\n").output
    assert "Take it as a correction? [y/N]: y" in output
    assert output.endswith("Took 1 result from revised.csv: record 5.\n")
    assert ("creek", "NO3-N", "2,410 ppm") in values(fresh)
    assert open_season(fresh).records.all()[-1].reason == "revised report revised.csv"


def test_a_report_is_held_against_the_season_for_machines(run: Run, fresh: Path, report: Path) -> None:
    words = ("results", "import", report, "--season", fresh, *TOLD, "--sample", "A-2=hill", "--dry-run")
    data = json.loads(run(*words, "--json").output)
    assert data["form"] == "CSV, a row a sample"
    assert [(item["line"], item["block"], item["value"], item["becomes"]) for item in data["values"]] == [
        (6, "creek", 2310.5, "new"),
        (7, "creek", 3.1, "new"),
        (8, "hill", 10, "new"),
    ]
    assert data["passed_over"] == [{"line": 9, "why": 'a summary: "Average"'}]
    assert data["left_out"] == []
    assert data["records"] == []
    assert json.loads(run(*words[:-1], "--json").output)["records"] == [2, 3, 4]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--tell", "tissue"), '"tissue" should be NAME=VALUE'),
        (("--tell", "colour=red"), "is no question about a report"),
        (("--tell", "tissue=root"), "should be one of petiole, leaf, split"),
        (("--sample", "A-2=brook"), 'there is no block "brook"'),
        ((*TOLD, "--sample", "A-2=hill", "--laboratory", "Valley Lab"), '"Valley Lab" should be of small letters'),
    ],
)
def test_an_option_that_will_not_do_is_told_and_nothing_taken(
    refused: Refused, fresh: Path, report: Path, words: tuple[str, ...], told: str
) -> None:
    before = contents(fresh)
    assert told in refused("results", "import", report, "--season", fresh, *words)
    assert contents(fresh) == before


def test_a_damaged_file_of_laboratories_is_told(refused: Refused, fresh: Path, report: Path) -> None:
    (fresh / LABORATORIES_FILE).write_text("[samples\n")
    assert LABORATORIES_FILE in refused("results", "import", report, "--season", fresh)


def test_nothing_is_left_beside_a_report_that_could_not_be_taken(
    refused: Refused, fresh: Path, tmp_path: Path, report: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> list[int]:
        raise UserError("another program is writing")

    monkeypatch.setattr("fertadjust.season_book.SeasonBook.take", fails)
    words = ("results", "import", report, "--season", fresh, *TOLD, "--good-rows", "--laboratory", "valley-lab")
    assert "another program is writing" in refused(*words)
    assert not list(tmp_path.glob("*left-out*"))
