"""Dates as laboratories print them. Ways of printing are common practice; year-month-day is ISO 8601."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fertadjust.errors import UserError
from fertadjust.lab.days import AmbiguousDay, Order, OrderEvidence, order_evidence, read_day

NINTH = date(2026, 3, 9)
DAY_FIRST, MONTH_FIRST = Order.DAY_FIRST, Order.MONTH_FIRST


def refusal(cell: str, order: Order | None = None) -> str:
    with pytest.raises(UserError) as caught:
        read_day(cell, order)
    (fault,) = caught.value.faults
    assert not isinstance(caught.value, AmbiguousDay)
    return fault.message


PLAIN = [
    "2026-03-09",
    "2026-3-9",
    "2026/3/9",
    "2026.03.09",
    "20260309",
    "9 March 2026",
    "09 Mar 2026",
    "9-Mar-26",
    "09-MAR-2026",
    "09MAR2026",
    "9th of March 2026",
    "9. Mar. 2026",
    "9 Mar '26",
    "March 9, 2026",
    "Mar 9 2026",
    "Mar 9, 26",
    "Mar. 9th 2026",
    "Mar-09-2026",
    "2026-Mar-09",
    "Mon 9 Mar 2026",
    "Monday, March 9, 2026",
    "Mon. 2026-03-09",
    " 2026-03-09\xa0",
    "'2026-03-09",
]


@pytest.mark.parametrize("order", [None, DAY_FIRST, MONTH_FIRST])
@pytest.mark.parametrize("cell", PLAIN)
def test_dates_whose_order_is_plain(cell: str, order: Order | None) -> None:
    assert read_day(cell, order) == NINTH
    assert order_evidence([cell]) == OrderEvidence(None, None, None)


@pytest.mark.parametrize(
    "time",
    [
        "T10:30",
        " 10:30",
        " 10:30:00",
        " 10:30:00 AM",
        " 1:05 p.m.",
        "T10:30:00Z",
        "T10:30:00.123+02:00",
        " 00:00:00",
        " 10:30 UTC",
        " 10:30 AM PST",
        "T10:30:00-0500",
        ", 10:30",
        "T103000",
    ],
)
@pytest.mark.parametrize("cell", ["2026-03-09", "20260309", "9 Mar 2026", "March 9, 2026"])
def test_a_time_of_day_is_left_out(cell: str, time: str) -> None:
    assert read_day(cell + time, None) == NINTH


@pytest.mark.parametrize(
    "cell", ["3/9/2026", "03/09/2026", "3-9-2026", "3.9.2026", "3/9/26", "3. 9. 2026", "3/9/2026 8:00"]
)
def test_dates_in_numbers_are_read_in_the_order_given(cell: str) -> None:
    assert read_day(cell, MONTH_FIRST) == NINTH
    assert read_day(cell, DAY_FIRST) == date(2026, 9, 3)


@pytest.mark.parametrize("cell", ["3/9/2026", "3-9-2026", "3.9.2026", "3/9/26", "12/11/2026"])
def test_dates_in_numbers_are_open_without_an_order(cell: str) -> None:
    with pytest.raises(AmbiguousDay) as caught:
        read_day(cell, None)
    assert cell in str(caught.value)
    assert order_evidence([cell]) == OrderEvidence(None, None, cell)


def test_an_open_date_names_both_days() -> None:
    with pytest.raises(AmbiguousDay, match="Mon 9 Mar 2026 or Thu 3 Sep 2026"):
        read_day("3/9/2026", None)


def test_a_date_that_is_one_day_in_both_orders_is_read() -> None:
    assert read_day("3/3/2026", None) == date(2026, 3, 3)
    assert order_evidence(["3/3/2026"]) == OrderEvidence(None, None, None)


def test_a_date_that_holds_in_one_order_only_is_read_without_one() -> None:
    assert read_day("25/3/2026", None) == read_day("3/25/2026", None) == date(2026, 3, 25)


def test_a_date_that_does_not_hold_in_the_order_given_names_both_orders() -> None:
    message = refusal("25/3/2026", MONTH_FIRST)
    assert "no date with the month first" in message
    assert "with the day first it is Wed 25 Mar 2026" in message
    assert "with the month first it is Wed 25 Mar 2026" in refusal("3/25/2026", DAY_FIRST)


def test_a_weekday_settles_the_order() -> None:
    """9 March 2026 is a Monday, 3 September 2026 a Thursday."""
    assert read_day("Mon 3/9/2026", None) == NINTH
    assert read_day("Thursday, 3/9/2026", None) == date(2026, 9, 3)
    assert order_evidence(["Mon 3/9/2026"]).month_first == "Mon 3/9/2026"


@pytest.mark.parametrize("cell", ["Tue 9 Mar 2026", "Tue 2026-03-09", "Sun 3/9/2026"])
def test_a_weekday_that_is_not_that_day_s_is_a_fault(cell: str) -> None:
    assert "correct one of the two" in refusal(cell)


def test_the_first_cell_of_each_sort_is_the_evidence() -> None:
    found = order_evidence(
        ["", "2026-03-09", "1/2/2026", "13/2/2026", "2/1/2026", "2/13/2026", "14/2/2026", "2/14/2026"]
    )
    assert found == OrderEvidence("13/2/2026", "2/13/2026", "1/2/2026")


@pytest.mark.parametrize("cell", ["", " ", "-", "—", "n/a", "N/A", "none", "not tested", "Missing"])
def test_an_empty_cell_has_no_day(cell: str) -> None:
    assert read_day(cell, None) is None
    assert order_evidence([cell]) == OrderEvidence(None, None, None)


@pytest.mark.parametrize("cell", ["46090", "46090.4375"])
def test_a_spreadsheet_s_serial_number_is_refused_with_what_to_do(cell: str) -> None:
    assert "give the column the format of a date" in refusal(cell)


@pytest.mark.parametrize("cell", ["1026-03-09", "1989-12-31", "2101-01-01", "3/9/1026", "9 Mar 2206", "19000101"])
def test_years_far_from_any_season_are_refused(cell: str) -> None:
    assert "between 1990 and 2100" in refusal(cell)


@pytest.mark.parametrize("cell", ["2026-02-29", "2026-13-01", "31/4/2026", "0/3/2026", "30 Feb 2026", "20260230"])
def test_days_that_no_calendar_has_are_refused(cell: str) -> None:
    assert "no day of the calendar" in refusal(cell)


def test_29_february_is_a_day_of_leap_years() -> None:
    assert read_day("29/2/2028", None) == date(2028, 2, 29)


@pytest.mark.parametrize(
    "cell",
    [
        "9 Mar",
        "March 2026",
        "3/2026",
        "3/9",
        "9 Foo 2026",
        "yesterday",
        "week 12",
        "3/9-2026",
        "3/9/026",
        "2310",
        "2026-03-09 25:00",
        "2026-03-09 10:75",
        "2026-03-09 and 2026-03-10",
        "٢٠٢٦-٠٣-٠٩",
        "9 Märch 2026",
        "x" * 300,
    ],
)
def test_anything_else_is_refused_with_what_would_be_accepted(cell: str) -> None:
    message = refusal(cell)
    assert cell[:10] in message
    assert "write 2026-03-09, or 9 Mar 2026" in message


# Whatever is given

DAYS = st.dates(date(1990, 1, 1), date(2100, 12, 31))
MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@settings(max_examples=300, deadline=None)
@given(DAYS, st.sampled_from(["", " 10:30", " 10:30:00 AM"]))
def test_every_day_reads_back_from_each_form_whose_order_is_plain(day: date, time: str) -> None:
    month, weekday = MONTHS[day.month - 1], WEEKDAYS[day.weekday()]
    forms = [
        day.isoformat(),
        f"{day.year}/{day.month}/{day.day}",
        f"{day.year}.{day.month:02}.{day.day:02}",
        f"{day.year}{day.month:02}{day.day:02}",
        f"{day.day} {month} {day.year}",
        f"{day.day:02}-{month[:3]}-{day.year}",
        f"{day.day}{month[:3].upper()}{day.year}",
        f"{month} {day.day}, {day.year}",
        f"{month[:3]} {day.day} {day.year}",
        f"{month[:3]}. {day.day}th {day.year}",
        f"{weekday[:3]} {day.day} {month[:3]} {day.year}",
        f"{weekday}, {month} {day.day}, {day.year}",
    ]
    if 2000 <= day.year < 2100:
        forms.append(f"{day.day}-{month[:3]}-{day.year % 100:02}")
    for form in forms:
        assert read_day(form + time, None) == day, form


@settings(max_examples=300, deadline=None)
@given(DAYS, st.sampled_from("/-."), st.sampled_from(["", "02"]))
def test_every_day_reads_back_from_numbers_in_both_orders(day: date, mark: str, width: str) -> None:
    years = [str(day.year)] + ([f"{day.year % 100:02}"] if 2000 <= day.year < 2100 else [])
    nth, month = format(day.day, width), format(day.month, width)
    for year in years:
        day_first, month_first = mark.join((nth, month, year)), mark.join((month, nth, year))
        assert read_day(day_first, DAY_FIRST) == read_day(month_first, MONTH_FIRST) == day
        assert order_evidence([day_first]).month_first is None
        assert order_evidence([month_first]).day_first is None
        if day.day > 12:
            assert read_day(day_first, None) == read_day(month_first, None) == day


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text(max_size=70),
        st.text("0123456789/-.: TZ,'", max_size=24),
        st.lists(st.sampled_from(["Mon", "mar", "9", "31", "2026", " ", "-", "/", ".", ", ", "th", "T"])).map(
            "".join
        ),
    ),
    st.sampled_from([None, DAY_FIRST, MONTH_FIRST]),
)
def test_any_cell_is_a_day_or_none_or_a_fault(cell: str, order: Order | None) -> None:
    order_evidence([cell])
    try:
        found = read_day(cell, order)
    except UserError:
        return
    assert found is None or 1990 <= found.year <= 2100
