"""The calendar of a season: injections on their days, samples and reviews, each entry with a name for good."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from icalendar import Calendar

from fertadjust.api import Season, open_season
from fertadjust.demo import build, replay
from fertadjust.outputs import calendar_entries
from fertadjust.shipped import folder
from tests.test_season_file import edited

SAMPLE = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
BEFORE = date(2026, 3, 1)
START, END = date(2026, 3, 2), date(2026, 5, 24)
BLOCKS = ("creek", "hill", "lane")
Open = Callable[[str], Season]


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Season:
    """The sample season with all its records. Not to be written to."""
    season = build(tmp_path_factory.mktemp("calendar") / "farm")
    list(replay(season))
    return season


@pytest.fixture
def opened(tmp_path: Path) -> Open:
    """Opens a season of a text, without records."""

    def of(text: str) -> Season:
        (tmp_path / "season.toml").write_text(text, encoding="utf-8")
        return open_season(tmp_path)

    return of


def days(season: Season, on: date, kind: str, block: str = "creek") -> list[date]:
    """Days of the entries of a kind and a block."""
    return [item.on for item in calendar_entries(season, on) if f"-{kind}-{block}" in item.uid]


def texts(season: Season, on: date, kind: str, block: str = "creek") -> list[str]:
    return [item.description for item in calendar_entries(season, on) if f"-{kind}-{block}" in item.uid]


# --- injections ---------------------------------------------------------------------------------------------


def test_injections_stand_on_the_named_days_of_every_week(opened: Open) -> None:
    season = opened(SAMPLE)
    expected = [START + timedelta(days=7 * week + day) for week in range(12) for day in (0, 3)]
    for block in BLOCKS:
        assert days(season, BEFORE, "inject", block) == expected
    assert {day.strftime("%a") for day in expected} == {"Mon", "Thu"}


@pytest.mark.parametrize(
    ("times", "offsets"), [(1, [0]), (2, [0, 3]), (3, [0, 2, 4]), (4, [0, 1, 3, 5]), (7, list(range(7)))]
)
def test_without_named_days_injections_are_spread_over_the_week(
    opened: Open, times: int, offsets: list[int]
) -> None:
    text = edited(
        ("injections_per_week = 2", f"injections_per_week = {times}"),
        ('days = ["Mon", "Thu"]\n', ""),
        text=SAMPLE,
    )
    found = days(opened(text), BEFORE, "inject")
    assert [(day - START).days for day in found[:times]] == offsets
    assert len(found) == 12 * times


def test_a_week_that_begins_in_the_middle_of_the_calendar_week_keeps_the_named_days(opened: Open) -> None:
    text = edited(("start = 2026-03-02", "start = 2026-03-05"), text=SAMPLE)
    found = days(opened(text), BEFORE, "inject")
    assert found[:3] == [date(2026, 3, 5), date(2026, 3, 9), date(2026, 3, 12)]
    assert len(found) == 24


def test_an_injection_says_its_products_and_its_number_in_the_week(opened: Open) -> None:
    season = opened(SAMPLE)
    area = 300 * 10 * 2.5 / 43_560
    nitrogen = 3.5 * area / 2
    first, second = texts(season, BEFORE, "inject")[:2]
    assert first.splitlines() == [
        f"Week 1, injection 1 of 2: {nitrogen:.2f} lb N.",
        f"potassium nitrate: {nitrogen / 0.13:.2f} lb",
        "Rates as decided so far. Print the mix sheet before mixing.",
    ]
    assert second.startswith("Week 1, injection 2 of 2: ")
    later = texts(season, BEFORE, "inject")[6]
    assert re.findall(r"^([a-zA-Z ]+): [\d.]+ lb$", later, re.M) == [
        "calcium nitrate",
        "potassium nitrate",
        "Epsom salt",
    ]


def test_metric_seasons_show_kilograms_and_litres(opened: Open) -> None:
    text = edited(
        ('units = "us"', 'units = "metric"'),
        ("water_temperature = 55", "water_temperature = 12"),
        (
            'name = "calcium nitrate"\nmaterial = "calcium_nitrate"',
            'name = "calcium nitrate"\nmaterial = "uan_32"',
        ),
        text=SAMPLE,
    )
    later = texts(opened(text), BEFORE, "inject")[-1]
    assert re.search(r"^calcium nitrate: [\d.]+ kg = [\d.]+ L$", later, re.M)
    assert " lb" not in later


def test_products_that_must_not_meet_stand_on_different_days_with_one_tank(opened: Open) -> None:
    season = opened(edited(("tanks = 2", "tanks = 1"), text=SAMPLE))
    monday, thursday = texts(season, BEFORE, "inject")[6:8]
    assert "calcium nitrate" in monday and "Epsom salt" not in monday
    assert "Epsom salt" in thursday and "calcium nitrate" not in thursday


def test_a_logged_injection_of_the_running_week_is_not_told_again(opened: Open) -> None:
    season = opened(SAMPLE)
    season.log_application(block="creek", on=date(2026, 3, 2), n=1.75, today=date(2026, 3, 2))
    assert days(season, date(2026, 3, 2), "inject")[0] == date(2026, 3, 5)
    assert days(season, date(2026, 3, 2), "inject", "hill")[0] == date(2026, 3, 2)


def test_a_week_that_feeds_nothing_has_no_injection(opened: Open) -> None:
    text = edited(("{ week = 11, rate = 3.5 }", "{ week = 11, rate = 0.0 }"), text=SAMPLE)
    assert days(opened(text), BEFORE, "inject")[-1] == date(2026, 5, 7)


def test_what_was_logged_later_hides_no_injection_of_an_earlier_day(lived: Season) -> None:
    logged = [item.on for item in lived.block("creek").applications]
    assert date(2026, 4, 9) in logged
    found = days(lived, date(2026, 4, 8), "inject")
    assert found[:2] == [date(2026, 4, 9), date(2026, 4, 13)]
    assert date(2026, 4, 9) not in days(lived, date(2026, 4, 9), "inject")


# --- samples and reviews ------------------------------------------------------------------------------------


def test_the_next_sample_and_the_review_of_a_change_are_entries(lived: Season) -> None:
    on = date(2026, 3, 22)
    advice = lived.advice("creek", on).recommendation
    assert days(lived, on, "sample") == [advice.next_sample]
    latest = lived.block("creek", on).path(on).latest(on)
    assert latest is not None and latest.review >= on
    assert days(lived, on, "review") == [latest.review]


def test_a_review_is_an_entry_until_its_day_is_over(lived: Season) -> None:
    on = date(2026, 5, 10)
    latest = lived.block("hill", on).path(on).latest(on)
    assert latest is not None and on < latest.review <= END
    assert latest.review in days(lived, latest.review, "review", "hill")
    assert latest.review not in days(lived, latest.review + timedelta(days=1), "review", "hill")


def test_a_season_without_a_decision_has_no_review(opened: Open) -> None:
    season = opened(SAMPLE)
    assert [days(season, BEFORE, "review", block) for block in BLOCKS] == [[], [], []]


# --- the whole calendar -------------------------------------------------------------------------------------

DAYS = [BEFORE + timedelta(days=offset) for offset in range(0, 86, 7)]


@pytest.mark.parametrize("on", DAYS)
def test_nothing_lies_before_the_day_or_after_the_plan(lived: Season, on: date) -> None:
    entries = calendar_entries(lived, on)
    assert all(on <= item.on <= END for item in entries)
    assert [(item.on, item.uid) for item in entries] == sorted((item.on, item.uid) for item in entries)


def test_after_the_plan_the_calendar_is_empty(lived: Season) -> None:
    for on in (END + timedelta(days=1), END + timedelta(days=40)):
        assert calendar_entries(lived, on) == []


@pytest.mark.parametrize("on", DAYS)
def test_every_entry_has_a_uid_of_its_own(lived: Season, on: date) -> None:
    uids = [item.uid for item in calendar_entries(lived, on)]
    assert len(uids) == len(set(uids))
    assert all(uid.endswith("@fertadjust") for uid in uids)


def test_an_entry_keeps_its_uid_when_asked_again_on_another_day(lived: Season) -> None:
    earlier, later = (calendar_entries(lived, on) for on in (date(2026, 3, 22), date(2026, 4, 8)))
    injections = {item.uid: item.on for item in earlier if "-inject-" in item.uid and item.on >= date(2026, 4, 9)}
    again = {item.uid: item.on for item in later if "-inject-" in item.uid}
    assert injections
    assert injections.items() <= again.items()


def test_a_changed_rate_changes_the_text_and_not_the_uid(opened: Open) -> None:
    before = {item.uid: item.description for item in calendar_entries(opened(SAMPLE), BEFORE)}
    text = edited(("{ week = 1, rate = 3.5 }", "{ week = 1, rate = 4.0 }"), text=SAMPLE)
    after = {item.uid: item.description for item in calendar_entries(opened(text), BEFORE)}
    assert before.keys() == after.keys()
    assert before != after


def test_another_farm_or_season_has_other_uids(opened: Open) -> None:
    uids = {item.uid for item in calendar_entries(opened(SAMPLE), BEFORE)}
    for edit in (("Larkrise Farm (invented)", "Fernhill"), ("start = 2026-03-02", "start = 2026-03-09")):
        assert not uids & {item.uid for item in calendar_entries(opened(edited(edit, text=SAMPLE)), BEFORE)}


def test_the_file_opens_and_holds_every_entry(lived: Season) -> None:
    on = date(2026, 3, 22)
    written = lived.calendar(on)
    entries = calendar_entries(lived, on)
    calendar = Calendar.from_ical(written)
    assert b"X-WR-CALNAME:Feeding\\, Larkrise Farm (invented)\r\n" in written
    events = calendar.walk("VEVENT")
    found = [
        (str(item["UID"]), item.decoded("DTSTART"), str(item["SUMMARY"]), str(item["DESCRIPTION"]))
        for item in events
    ]
    assert found == [(item.uid, item.on, item.summary, item.description) for item in entries]
    assert {item.summary for item in entries} >= {f"Inject: {name}" for name in ("Creek side", "Hill top")}
    assert written == lived.calendar(on)


def test_asking_writes_no_record(lived: Season, tmp_path: Path) -> None:
    copy = Path(shutil.copytree(lived.file.folder, tmp_path / "copy"))
    before = {path.name: path.read_bytes() for path in copy.iterdir()}
    open_season(copy).calendar(BEFORE)
    assert {path.name: path.read_bytes() for path in copy.iterdir()} == before


def test_a_season_of_before_has_a_calendar_too(opened: Open) -> None:
    text = SAMPLE[: SAMPLE.index("[[mixes]]")] + SAMPLE[SAMPLE.index("[blocks.creek]") :]
    text = text[: text.index("[[products]]")] + (
        '[[products]]\nname = "potassium nitrate"\ngrade = "13-0-45"\nshare = 1.0\n\n'
        + text[text.index("[blocks.creek]") :]
    )
    season = opened(text)
    assert len(days(season, BEFORE, "inject")) == 24
    assert "potassium nitrate: " in texts(season, BEFORE, "inject")[0]
