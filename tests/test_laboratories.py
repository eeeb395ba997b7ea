"""Profiles of laboratories and names of samples, kept in the season folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from fertadjust.errors import UserError
from fertadjust.lab.profile import Profile
from fertadjust.laboratories import (
    LABORATORIES_FILE,
    Laboratories,
    block_called,
    read_laboratories,
    write_laboratories,
)
from fertadjust.report_reading import kept_with, open_questions, read_known

REPORT = b"Sample,Date sampled,Plant part,Nitrate\nNorth,3/9/2026,petiole,2310\n"


def refusal(text: str, folder: Path) -> str:
    (folder / LABORATORIES_FILE).write_text(text)
    with pytest.raises(UserError) as caught:
        read_laboratories(folder)
    return str(caught.value)


def test_without_a_file_nothing_is_known(tmp_path: Path) -> None:
    assert read_laboratories(tmp_path) == Laboratories()
    assert list(tmp_path.iterdir()) == []


def test_what_is_written_comes_back(tmp_path: Path) -> None:
    kept = Laboratories(
        samples={"C1": "north", 'Früh "5"': "south"},
        laboratories={"valley": Profile(header=("a", "b"), tissue="split", limits={"NO3-N": 10.0})},
    )
    write_laboratories(tmp_path, kept)
    assert read_laboratories(tmp_path) == kept
    assert (tmp_path / LABORATORIES_FILE).read_text().startswith("# How the reports")


def test_a_file_that_will_not_do_is_told_with_line_and_key(tmp_path: Path) -> None:
    told = refusal('[laboratories.valley]\ntissue = "root"\n', tmp_path)
    assert "laboratories.toml, line 2, laboratories.valley.tissue" in told
    assert "laboratories.toml" in refusal("[samples\n", tmp_path)
    assert "colour" in refusal('colour = "red"\n', tmp_path)


def test_answers_are_kept_and_the_next_report_reads_by_itself() -> None:
    known = Laboratories()
    first = read_known(REPORT, "march.csv", known, sap_or_dry="dry")
    keys = {item.key for item in first.report.questions}
    assert "dates" in keys
    assert any("nitrate" in key for key in keys)
    answers = [("dates", "month first"), ("columns.nitrate", "NO3-N"), ("units.nitrate", "ppm")]
    told = read_known(REPORT, "march.csv", known, answers=answers, sap_or_dry="dry")
    assert told.report.questions == ()
    assert (told.known_as, told.changed) == ("", True)
    known = kept_with(known, "valley", told)
    later = REPORT.replace(b"3/9", b"4/6").replace(b"2310", b"1900").replace(b"Sample", b" SAMPLE ")
    again = read_known(later, "april.csv", known, sap_or_dry="dry")
    assert (again.known_as, again.changed, again.report.questions) == ("valley", False, ())
    assert [row.fields["sampled"] for row in again.report.rows] == ["2026-04-06"]
    assert read_known(REPORT, "march.csv", known, "valley", sap_or_dry="dry").known_as == "valley"


def test_a_report_with_other_columns_is_not_taken_for_a_known_one() -> None:
    told = read_known(
        REPORT,
        "march.csv",
        Laboratories(),
        answers=[("dates", "month first"), ("columns.nitrate", "NO3-N"), ("units.nitrate", "ppm")],
        sap_or_dry="dry",
    )
    known = kept_with(Laboratories(), "valley", told)
    other = REPORT.replace(b"Plant part", b"Tissue")
    assert read_known(other, "april.csv", known, sap_or_dry="dry").known_as == ""


def test_two_profiles_with_one_header_are_not_chosen_between() -> None:
    one = Profile(header=("a",))
    assert Laboratories(laboratories={"x": one, "y": one}).profile_for(("A",)) is None
    assert Laboratories(laboratories={"x": one}).profile_for(("A",)) == "x"
    assert Laboratories(laboratories={"x": Profile()}).profile_for(()) is None


@pytest.mark.parametrize("name", ["", "Valley", "two words", "-x", "a.b", "ä"])
def test_a_name_that_will_not_do_is_refused(name: str) -> None:
    reading = read_known(REPORT, "march.csv", Laboratories(), sap_or_dry="dry")
    with pytest.raises(UserError, match="valley-lab"):
        kept_with(Laboratories(), name, reading)


def test_open_questions_say_how_to_answer() -> None:
    reading = read_known(REPORT, "march.csv", Laboratories(), sap_or_dry="dry")
    told = str(open_questions(reading.report))
    assert '--tell "dates=day first|month first"' in told
    assert "march.csv" in told


def test_a_sample_is_called_by_key_name_or_kept_name() -> None:
    blocks = {"north": "North", "hill": "The Hill"}
    assert block_called(["the  hill"], blocks, {}) == "hill"
    assert block_called(["x", "NORTH"], blocks, {}) == "north"
    assert block_called(["c1"], blocks, {"C1": "hill"}) == "hill"
    assert block_called(["c2", ""], blocks, {"C1": "hill"}) is None
    with pytest.raises(UserError, match="different blocks"):
        block_called(["north", "c1"], blocks, {"C1": "hill"})
