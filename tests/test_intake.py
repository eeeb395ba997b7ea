"""A laboratory report held against the season: what is new, stands, is revised, was undone, or will not do."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import pytest

from fertadjust.api import Season, open_season
from fertadjust.entry import RESULT_FIELDS
from fertadjust.errors import UserError
from fertadjust.intake import Intake, left_out_text
from fertadjust.known_results import Allowed, Fate
from fertadjust.lab.report import read_report
from fertadjust.record import Kind
from fertadjust.stored import result_of
from tests.test_season_file import SEASON

ON = date(2026, 4, 20)
HEAD = "Lab No,Sample ID,Field,Date sampled,Plant part,NO3-N (ppm),N (%)\n"
ONE = "7001,S1,North,2026-03-18,petiole,2310,\n"
LEAF = "7002,S1,North,2026-03-18,leaf,,3.1\n"


@pytest.fixture
def season(tmp_path: Path) -> Season:
    (tmp_path / "season.toml").write_text(SEASON)
    return open_season(tmp_path)


def held(
    season: Season,
    *lines: str,
    unusual: bool = False,
    revised: bool = False,
    samples: dict[str, str] | None = None,
) -> Intake:
    report = read_report((HEAD + "".join(lines)).encode(), "report.csv", sap_or_dry="dry")
    assert report.questions == ()
    return season.hold(report, "report.csv", samples or {}, Allowed(unusual, revised), ON)


def taken(season: Season, *lines: str, **how: bool) -> list[int]:
    found = held(season, *lines, **how)  # type: ignore[arg-type]
    assert found.left_out == ()
    return season.take(found, "report.csv", by="ann")


def fates(found: Intake) -> list[tuple[str, int | None]]:
    return [(item.fate.value, item.record) for item in found.taken]


def reasons(found: Intake) -> str:
    return "\n".join(str(item.fault) for item in found.left_out)


def values(season: Season) -> list[float]:
    return [result_of(item).value for item in season.records.current(Kind.RESULT)]


def test_a_new_report_is_taken_with_what_it_says(season: Season) -> None:
    numbers = taken(season, ONE, LEAF)
    assert numbers == [2, 3]
    record = season.records.all(Kind.RESULT)[0]
    result = result_of(record)
    assert (result.block, result.sampled, result.value, result.sample_id) == (
        "north",
        date(2026, 3, 18),
        2310,
        "7001",
    )
    assert result.reported == "2310 NO3-N (ppm)"
    assert record.content is not None
    assert record.content["source"] == "report.csv, line 2, NO3-N (ppm)"


def test_the_same_report_again_adds_nothing(season: Season) -> None:
    taken(season, ONE, LEAF)
    found = held(season, ONE, LEAF)
    assert fates(found) == [("stands already", 2), ("stands already", 3)]
    assert season.take(found, "report.csv") == []
    assert values(season) == [2310, 3.1]


def test_a_longer_report_adds_what_is_new(season: Season) -> None:
    taken(season, ONE)
    assert fates(held(season, ONE, LEAF)) == [("stands already", 2), ("new", None)]


def test_a_revised_value_is_asked_about_and_taken_as_a_correction(season: Season) -> None:
    taken(season, ONE)
    revised = ONE.replace("2310", "2350")
    found = held(season, revised)
    assert found.taken == ()
    assert "record 2 says 2,310 ppm, this report 2,350 ppm. If the report was revised" in reasons(found)
    assert found.revisions == ("Block north, Wed 18 Mar 2026: record 2 says 2,310 ppm, this report 2,350 ppm.",)
    assert taken(season, revised, revised=True) == [3]
    (record,) = season.records.current(Kind.RESULT)
    assert (record.replaces, record.reason) == (2, "revised report report.csv")
    assert values(season) == [2350]


def test_a_revised_value_is_no_second_sample_even_when_confirmed(season: Season) -> None:
    taken(season, ONE)
    assert held(season, ONE.replace("2310", "2350"), unusual=True).taken == ()


def test_the_first_report_again_after_a_correction_takes_nothing_back(season: Season) -> None:
    (number,) = taken(season, ONE)
    season.correct_result(number, {"value": "2130"}, "misread", today=ON)
    assert fates(held(season, ONE)) == [("was corrected or voided since", 2)]
    assert fates(held(season, ONE, revised=True)) == [("was corrected or voided since", 2)]
    assert values(season) == [2130]


def test_a_voided_value_does_not_come_back_with_its_report(season: Season) -> None:
    (number,) = taken(season, ONE)
    season.void(number, "wrong field")
    assert fates(held(season, ONE)) == [("was corrected or voided since", 2)]


def test_a_censored_value_is_not_the_value_itself(season: Season) -> None:
    taken(season, ONE)
    assert "this report <2,310 ppm" in reasons(held(season, ONE.replace("2310", "<2310")))


def test_a_second_value_of_a_sample_in_one_report_is_asked_about(season: Season) -> None:
    twice = (ONE, ONE.replace("2310", "2400"))
    found = held(season, *twice)
    assert fates(found) == [("new", None)]
    assert "line 3, NO3-N (ppm): 2,400 ppm is a second value of one sample (line 2)." in reasons(found)
    assert taken(season, *twice, unusual=True) == [2, 3]
    assert fates(held(season, *twice)) == [("stands already", 2), ("stands already", 3)]
    assert fates(held(season, *reversed(twice))) == [("stands already", 3), ("stands already", 2)]


def test_the_same_line_twice_in_one_report_is_asked_about(season: Season) -> None:
    assert "is a second value of one sample" in reasons(held(season, ONE, ONE))


def test_a_value_typed_before_its_report_came_is_not_counted_twice_by_mistake(season: Season) -> None:
    season.add_result(block="north", sampled="2026-03-18", value="2310", today=ON, by="ann")
    found = held(season, ONE)
    assert "record 2 says 2,310 ppm (no sample number), this report 2,310 ppm (sample 7001)" in reasons(found)
    assert "if it is another sample, confirm it" in reasons(found)
    assert fates(held(season, ONE, unusual=True)) == [("new", None)]
    assert fates(held(season, ONE, revised=True)) == [("revised", 2)]


def test_a_value_rounded_when_it_was_typed_is_asked_about_as_well(season: Season) -> None:
    season.add_result(block="north", sampled="2026-03-18", value="2300", today=ON, by="ann")
    assert "record 2 says 2,300 ppm (no sample number)" in reasons(held(season, ONE))


@pytest.mark.parametrize(
    ("revised", "told"),
    [
        (ONE.replace("North", "South"), "(block north), this report 2,310 ppm (block south)"),
        (
            ONE.replace("North", "South").replace("2310", "2400"),
            "(block north), this report 2,400 ppm (block south)",
        ),
        (ONE.replace("03-18", "03-17"), "(Wed 18 Mar 2026), this report 2,310 ppm (Tue 17 Mar 2026)"),
        (
            ONE.replace("petiole", "leaf"),
            "(petiole NO3-N, dry weight), this report 2,310 ppm (leaf NO3-N, dry weight)",
        ),
    ],
)
def test_a_report_that_puts_block_day_or_tissue_right_is_asked_about(
    season: Season, revised: str, told: str
) -> None:
    taken(season, ONE)
    assert told in reasons(held(season, revised))
    assert fates(held(season, revised, unusual=True)) == [("new", None)]
    assert fates(held(season, revised, revised=True)) == [("revised", 2)]


def test_a_sample_number_may_come_again_at_the_next_visit(season: Season) -> None:
    taken(season, ONE, LEAF)
    later = (ONE.replace("03-18", "04-01").replace("2310", "2500"), LEAF.replace("03-18", "04-01"))
    assert fates(held(season, later[0])) == [("new", None)]


def test_two_that_hold_the_same_report_do_not_take_it_twice(season: Season) -> None:
    other = open_season(season.file.folder)
    first, second = held(season, ONE), held(other, ONE)
    season.take(first, "report.csv")
    with pytest.raises(UserError, match="in the meantime"):
        other.take(second, "report.csv")
    assert values(season) == [2310]


def test_two_samples_of_one_block_and_day_with_numbers_of_their_own_are_two(season: Season) -> None:
    assert fates(held(season, ONE, ONE.replace("7001", "7009"))) == [("new", None), ("new", None)]


def test_without_sample_numbers_another_value_may_be_either(season: Season) -> None:
    plain = HEAD.replace("Lab No,Sample ID,", "") + "North,2026-03-18,petiole,{},\n"

    def hold(value: str, allowed: Allowed) -> Intake:
        report = read_report(plain.format(value).encode(), "report.csv", sap_or_dry="dry")
        return season.hold(report, "report.csv", {}, allowed, ON)

    season.take(hold("2310", Allowed()), "report.csv")
    told = reasons(hold("2400", Allowed()))
    assert "take it as a correction with --revise; if it is another sample, confirm it with --confirm." in told
    assert fates(hold("2400", Allowed(unusual=True))) == [("new", None)]
    assert fates(hold("2400", Allowed(revised=True))) == [("revised", 2)]


# --- samples and blocks -------------------------------------------------------------------------------------


def test_a_sample_is_matched_by_any_of_its_names(season: Season) -> None:
    for line in (ONE, ONE.replace(",S1,North", ",north,"), ONE.replace("North", " NORTH ")):
        assert [item.result.block for item in held(season, line).taken] == ["north"]
    strange = ONE.replace("North", "By the creek")
    for alias in ("S1", "by the  CREEK"):
        assert [item.result.block for item in held(season, strange, samples={alias: "north"}).taken] == ["north"]


def test_a_sample_of_no_block_is_listed_once_and_never_guessed(season: Season) -> None:
    strange = (
        ONE.replace("North", "Nort"),
        ONE.replace("North", "Nort").replace(",,", ",,").replace("2310", ">9000"),
    )
    found = held(season, *strange)
    assert found.taken == ()
    ((names, rows),) = found.unmatched.items()
    assert (names, len(rows)) == (("Nort", "S1"), 2)
    assert "(2 values) is of no block of this season (north, south)" in reasons(found)


def test_names_that_mean_different_blocks_are_told(season: Season) -> None:
    found = held(season, ONE, samples={"S1": "south"})
    assert "the sample's names mean different blocks" in reasons(found)
    assert found.taken == ()


def test_other_faults_of_a_sample_of_no_block_are_told_as_well(season: Season) -> None:
    found = held(season, ONE.replace("North", "Nort").replace("2026-03-18", "2026-05-18"))
    assert "2026-05-18 is after today" in reasons(found)
    assert "is of no block" in reasons(found)


# --- what will not do ---------------------------------------------------------------------------------------


def test_what_is_unusual_is_asked_about(season: Season) -> None:
    odd = ONE.replace("2310", "45000")
    assert "line 2, NO3-N (ppm): 45,000 ppm is unusual" in reasons(held(season, odd))
    assert fates(held(season, odd, unusual=True)) == [("new", None)]


def test_good_rows_do_beside_bad_ones_and_the_rest_goes_to_a_file(season: Season) -> None:
    bad = ONE.replace("7001", "7005").replace("2310", "much")
    odd = ONE.replace("7001", "7006").replace("2310", "45000").replace("S1", "=S2")
    found = held(season, ONE, bad, odd)
    assert [item.row.line for item in found.of(Fate.NEW)] == [2]
    rows = list(csv.DictReader(io.StringIO(left_out_text(found))))
    assert list(rows[0]) == ["line", "why", *RESULT_FIELDS]
    assert [row["line"] for row in rows] == ["3", "4"]
    assert '"much"' in rows[0]["why"]
    assert "45,000 ppm is unusual" in rows[1]["why"]
    assert (rows[1]["value"], rows[1]["sample_id"]) == ("45000", "7006")


def test_what_was_left_out_is_imported_again_once_it_is_mended(season: Season) -> None:
    found = held(season, ONE, ONE.replace("7001", "7006").replace("2310", "45000"))
    text = left_out_text(found).replace("45000", "4500")
    lines = list(csv.DictReader(io.StringIO(text)))
    lines[0]["block"] = "north"
    out = io.StringIO()
    writer = csv.DictWriter(out, lines[0])
    writer.writeheader()
    writer.writerows(lines)
    report = read_report(out.getvalue().encode(), "report-left-out.csv")
    again = season.hold(report, "report-left-out.csv", {}, Allowed(), ON)
    assert again.left_out == ()
    assert [item.result.value for item in again.taken] == [4500]
