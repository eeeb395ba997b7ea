"""Notes on the other nutrients of a leaf report, by their published limits. None of them changes the nitrogen."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fertadjust.rules.facts import Recommendation
from fertadjust.tissue import Censor, TissueResult
from tests.rules import ENOUGH, HIGH, LOW, SATURDAY, advised, leaf, line, open_plan
from tests.support import BLOOM, policy, result

LIMITS = [
    # name, analyte, value that calls for the note, value that does not, source key
    ("potassium", "K", 1.39, 1.40, "UGA-AESL"),
    ("magnesium", "Mg", 0.249, 0.25, "UGA-AESL"),
    ("sulfur", "S", 0.149, 0.15, "UGA-AESL; FP-DYCUS"),
    ("boron", "B", 40.0, 40.1, "UGA-2023; UGA-2019; UGA-2018a"),  # treat at 40 ppm or below
    ("phosphorus", "P", 0.199, 0.20, "UGA-AESL"),
]


def with_leaf(*nutrients: tuple[str, float], petiole: float = ENOUGH) -> Recommendation:
    leaves = [leaf(value, analyte=name, record=60 + index) for index, (name, value) in enumerate(nutrients)]
    return advised(result(petiole, 6), *leaves)


@pytest.mark.parametrize(("name", "analyte", "short", "enough", "source"), LIMITS)
def test_a_nutrient_at_its_published_limit(
    name: str, analyte: str, short: float, enough: float, source: str
) -> None:
    note, none = line(with_leaf((analyte, short)), name), line(with_leaf((analyte, enough)), name)
    assert note.fired and note.change == "note only" and note.group == "companions"
    assert note.source == source
    assert not none.fired and none.change == ""
    assert note.why != none.why


@pytest.mark.parametrize(("week", "too_late"), [(0, False), (1, True), (6, True)])
def test_boron_at_or_after_bloom_comes_too_late(week: int, too_late: bool) -> None:
    # before bloom only: at or after it boron does little for fruit set (UGA-2018a)
    the_plan = open_plan(start=BLOOM - timedelta(days=28))
    boron = leaf(35.0, week, analyte="B", delay=0)
    found = advised(boron, on=boron.sampled, the_plan=the_plan)
    trace = line(found, "boron")
    assert trace.fired and ("little for fruit set" in trace.why) is too_late
    assert ("0.25 lb" in trace.why) is not too_late


@pytest.mark.parametrize(("n", "s", "wide"), [(3.6, 0.2, True), (3.59, 0.2, False), (3.0, 0.15, True)])
def test_nitrogen_to_sulfur_of_eighteen_and_wider(n: float, s: float, wide: bool) -> None:
    trace = line(with_leaf(("N", n), ("S", s)), "nitrogen to sulfur")
    assert trace.fired is wide and trace.source == "SEFP-WATSON"


def test_a_nutrient_that_was_not_measured_calls_for_nothing() -> None:
    found = with_leaf(("K", 2.0))
    for rule in policy().companions:
        trace = line(found, rule.name)
        assert not trace.fired
        assert ("not measured" in trace.why) is (rule.name != "potassium")


def test_a_ratio_needs_both_of_its_nutrients() -> None:
    assert "not measured" in line(with_leaf(("N", 3.9)), "nitrogen to sulfur").why


@pytest.mark.parametrize("petiole", [LOW, ENOUGH, HIGH])
def test_no_companion_changes_the_nitrogen(petiole: float) -> None:
    short = [(analyte, short) for _, analyte, short, _, _ in LIMITS]
    with_notes, without = with_leaf(*short, petiole=petiole), advised(result(petiole, 6))
    assert all(line(with_notes, name).fired for name, *_ in LIMITS)
    assert with_notes.rates_lb_ac == without.rates_lb_ac
    assert with_notes.factor == without.factor and with_notes.to_do == without.to_do
    assert (with_notes.moved_by, with_notes.binding) == (without.moved_by, without.binding)


def aged(item: TissueResult, days: int) -> TissueResult:
    sampled = SATURDAY - timedelta(days=days)
    return replace(item, sampled=sampled, received=sampled)


@pytest.mark.parametrize(("age", "counts"), [(28, True), (29, False)])
def test_a_leaf_report_counts_for_four_weeks(age: int, counts: bool) -> None:
    found = advised(result(ENOUGH, 6), aged(leaf(1.0, analyte="K"), age))
    assert line(found, "potassium").fired is counts


def test_only_the_latest_leaf_report_counts() -> None:
    older, newer = aged(leaf(1.0, analyte="K"), 10), aged(leaf(2.0, analyte="K", record=61), 3)
    assert not line(advised(result(ENOUGH, 6), older, newer), "potassium").fired
    other = aged(leaf(0.3, analyte="Mg", record=61), 3)
    assert "not measured" in line(advised(result(ENOUGH, 6), older, other), "potassium").why


def test_a_report_that_has_not_come_yet_is_not_known() -> None:
    to_come = replace(leaf(1.0, analyte="K"), received=SATURDAY + timedelta(days=1))
    assert not line(advised(result(ENOUGH, 6), to_come), "potassium").fired


def test_a_less_than_counts_as_short_and_a_more_than_is_left_out() -> None:
    below, above = (leaf(1.2, analyte="K", censor=censor) for censor in (Censor.BELOW, Censor.ABOVE))
    assert line(advised(result(ENOUGH, 6), below), "potassium").fired
    assert "not measured" in line(advised(result(ENOUGH, 6), above), "potassium").why


def test_a_ratio_of_a_nitrogen_bound_is_not_called_wide() -> None:
    # N below 3.6 % beside 0.2 % S is a ratio of less than 18, whatever it is
    nitrogen = leaf(3.6, censor=Censor.BELOW)
    sulfur = leaf(0.2, analyte="S", record=61)
    found = advised(result(ENOUGH, 6), nitrogen, sulfur)
    assert not line(found, "nitrogen to sulfur").fired
