"""The policy: figures as data, each with its source, checked as a whole."""

from __future__ import annotations

import copy
import math
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.rules.cross_table import CrossCheckRow
from fertadjust.rules.policy import (
    OVERRIDABLE,
    CompanionRule,
    Consent,
    Figure,
    Override,
    Policy,
    Recovery,
    RecoveryChoice,
    digest,
    with_overrides,
)
from fertadjust.season_file import read_season
from fertadjust.shipped import folder, shipped_policies, shipped_policy_files
from tests.rules import names_a_source
from tests.support import policy

PUBLISHED = {
    # figure: (value, source keys)
    "protocol_count": (20, "NCDA-2007; DE-2018"),
    "soil_nitrate_ppm": (20, "HARTZ-2006; HARTZ-2000"),
    "leaf_low_raise": (0.50, "UGA-AESL"),
    "sample_days": (14, "NCDA-2007; NCDA-2015"),
}
DERIVED = {
    # figure: (value, source keys): computed from what the source states
    "within_laboratory": (0.667, "HORWITZ-1988"),
    "raise_first": (1 / 3, "UGA-2021"),  # 0.75 to 1.0 lb N/ac/day
    "raise_largest": (0.50, "UGA-AESL; TOMATO-SAP-1988"),
    "raise_persistent": (0.50, "TOMATO-SAP-1988"),
    "resample_days": (7, "NCDA-2023"),
    "laboratory_petiole": (0.0, "HORWITZ-1988"),  # 0: by the Horwitz relation at the value
    "laboratory_leaf": (0.0, "HORWITZ-1988"),
    # mean relative error 24 % undiluted and 25 % diluted, which is sqrt(2 / pi) of a normal error's deviation
    "sap_meter": (0.24 * math.sqrt(math.pi / 2), "PENA-FLEITAS-2021"),
    "sap_meter_diluted": (0.25 * math.sqrt(math.pi / 2), "PENA-FLEITAS-2021"),
    "results_for_second_change": (2, "TOMATO-SAP-1988"),
    "lag_nitrate_days": (7, "ROBERTS-1989"),
    "lag_ammonium_days": (14, "ROBERTS-1989"),
    "leaf_days": (28, "UGA-AESL"),  # leaves monthly
    "stage_doubt_days": (7, "UGA-2021"),  # bands by the week
    "laboratory_days": (3, "NCDA-2015"),  # about two working days, and the post
    "floor": (3.0, "UGA-2021; DE-7778"),
    "ceiling": (7.0, "UGA-2021; DE-7778"),
}
CHOICES = {"recalled_may_cut", "after_recovery"}

PUBLISHED_ROWS = {
    # row of the cross-check or of the companions: source keys
    "sufficient-leaf-sufficient": "UGA-2021",
    "sufficient": "UGA-2021",
    "potassium": "UGA-AESL",
    "magnesium": "UGA-AESL; UC-MICRO",
    "boron": "UGA-2023; UGA-2019; UGA-2018a",
    "phosphorus": "UGA-AESL",
    "nitrogen-to-sulfur": "SEFP-WATSON",
}
DERIVED_ROWS = {
    "low-soil-above": "HARTZ-2006; HARTZ-2000; AGVISE-POTATO",
    "low-leaf-low": "UGA-AESL; NCDA-2015",
    "low-leaf-unclear": "NCDA-2023",
    "low-leaf-none": "NCDA-2023",
    "sufficient-leaf-high": "UDEL-T",
    "sulfur": "UGA-AESL; FP-DYCUS; UC-MICRO",
}


def shipped_data() -> dict[str, Any]:
    return copy.deepcopy(shipped_policy_files()["strawberry-annual-plasticulture"].data)


def figures(of: Policy) -> dict[str, Figure]:
    return {name: value for name in Policy.model_fields if isinstance(value := getattr(of, name), Figure)}


def rows_of(of: Policy) -> dict[str, CrossCheckRow | CompanionRule]:
    """Rows of the cross-check and of the companions by their ids."""
    return {row.id: row for row in of.cross_check} | {rule.id: rule for rule in of.companions}


def overridden(**values: Any) -> Policy:
    return Policy.model_validate(with_overrides(shipped_data(), values))


def test_the_shipped_policy_is_valid_and_is_for_strawberry_in_plasticulture() -> None:
    found = policy()
    assert (found.crop, found.system, found.late_anchor) == ("strawberry", "annual plasticulture", "first_bloom")
    assert found.overrides() == []


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_published_figures_stand_as_published_with_their_source(name: str) -> None:
    figure = figures(policy())[name]
    value, source = PUBLISHED[name]
    assert figure.value == pytest.approx(value)
    assert (figure.source, figure.evidence) == (source, Evidence.PUBLISHED)


@pytest.mark.parametrize("name", sorted(DERIVED))
def test_derived_figures_are_what_their_source_comes_to(name: str) -> None:
    figure = figures(policy())[name]
    value, source = DERIVED[name]
    assert figure.value == pytest.approx(value, abs=5e-4)
    assert (figure.source, figure.evidence) == (source, Evidence.DERIVED)


def test_no_other_figure_or_row_is_called_published_or_derived() -> None:
    found = policy()
    rows = rows_of(found)
    for evidence, names, keys in (
        (Evidence.PUBLISHED, PUBLISHED, PUBLISHED_ROWS),
        (Evidence.DERIVED, DERIVED, DERIVED_ROWS),
    ):
        assert {name for name, figure in figures(found).items() if figure.evidence is evidence} == {*names}
        assert {name: row.source for name, row in rows.items() if row.evidence is evidence} == keys
    assert found.after_recovery.evidence is found.recalled_may_cut.evidence is Evidence.PROJECT_RULE


def test_no_row_that_calls_for_a_cut_claims_a_publication_for_it() -> None:
    for row in policy().cross_check:
        if row.petiole == "high":
            assert row.evidence is Evidence.PROJECT_RULE, row.id


def test_every_figure_says_what_it_does_and_where_it_comes_from() -> None:
    found = policy()
    for name, figure in figures(found).items():
        assert figure.meaning and figure.unit, name
        assert names_a_source(figure.source, figure.evidence.value), name
    rest: tuple[Any, ...] = (found.recalled_may_cut, found.after_recovery, *found.cross_check, *found.companions)
    for item in rest:
        assert names_a_source(item.source, item.evidence.value), item


def test_a_figure_without_a_publication_never_counts_as_published() -> None:
    for name, figure in figures(policy()).items():
        if figure.source == "none":
            assert figure.evidence in {Evidence.PROJECT_RULE, Evidence.COMMON_PRACTICE}, name


def test_no_publication_is_claimed_for_the_size_of_a_cut() -> None:
    found = policy()
    for figure in (
        found.cut_first,
        found.cut_largest,
        found.cut_largest_at,
        found.cut_persistent,
        found.smallest_step,
    ):
        assert (figure.source, figure.evidence) == ("none", Evidence.PROJECT_RULE)


def test_every_figure_and_choice_may_be_set_by_the_grower_and_nothing_else() -> None:
    names = {
        name
        for name in Policy.model_fields
        for held in shipped_policies().values()
        if isinstance(getattr(held, name), Figure | Consent | RecoveryChoice)
    }
    assert set(OVERRIDABLE) == names - {"floor", "ceiling"}  # set under [bounds], in the farm's units
    assert set(OVERRIDABLE) >= CHOICES | {"confidence", "stale_days", "cut_largest", "no_raise_after_week"}
    assert not set(OVERRIDABLE) & {"id", "crop", "late_anchor", "cross_check", "companions"}


def test_an_override_shows_the_shipped_value_and_the_growers_reason() -> None:
    found = overridden(stale_days={"value": 10, "reason": "our laboratory is in town"}, confidence=0.9)
    assert (found.stale_days.value, found.stale_days.shipped) == (10, 14)
    assert (found.stale_days.source, found.stale_days.evidence) == ("season file", Evidence.OWN)
    assert found.stale_days.own_reason == "our laboratory is in town"
    assert (found.stale_days.unit, found.stale_days.meaning) == (
        policy().stale_days.unit,
        policy().stale_days.meaning,
    )
    assert (found.confidence.value, found.confidence.shipped) == (0.9, 0.8)
    assert (found.confidence.source, found.confidence.evidence) == ("season file", Evidence.OWN)
    assert found.confidence.own_reason == policy().stale_days.own_reason == ""
    assert found.overrides() == [
        Override("confidence", policy().confidence.meaning, "0.8 probability", "0.9 probability", "season file"),
        Override("stale_days", policy().stale_days.meaning, "14 days", "10 days", "our laboratory is in town"),
    ]
    assert found.lag_nitrate_days == policy().lag_nitrate_days


def test_choices_are_overridden_like_figures() -> None:
    found = overridden(after_recovery={"value": "keep", "reason": "by eye"}, recalled_may_cut=True)
    assert (found.after_recovery.value, found.after_recovery.shipped) == (Recovery.KEEP, Recovery.EASE)
    for choice, reason in ((found.after_recovery, "by eye"), (found.recalled_may_cut, "")):
        assert (choice.source, choice.evidence, choice.own_reason) == ("season file", Evidence.OWN, reason)
    assert (found.recalled_may_cut.value, found.recalled_may_cut.shipped) == (True, False)
    assert found.overrides() == [
        Override("recalled_may_cut", policy().recalled_may_cut.meaning, "no", "yes", "season file"),
        Override("after_recovery", policy().after_recovery.meaning, "ease", "keep", "by eye"),
    ]


ROW_OVERRIDES: dict[str, dict[str, Any]] = {
    "cross_check": {"low-rain": "half", "high-leaf-none": {"value": "hold", "reason": "we cut by eye"}},
    "companions": {"potassium": {"value": 1.6, "reason": "our variety"}, "boron": 35.0},
}


def test_a_row_of_the_cross_check_is_overridden_by_its_id() -> None:
    found = overridden(cross_check=ROW_OVERRIDES["cross_check"])
    given = {row.id: row for row in found.cross_check}
    shipped = {row.id: row for row in policy().cross_check}
    assert [*given] == [*shipped]  # the order decides, and stays
    rain, none = given["low-rain"], given["high-leaf-none"]
    assert (rain.step, rain.shipped, rain.source, rain.evidence) == ("half", "full", "season file", Evidence.OWN)
    assert (none.step, none.shipped, none.source, none.evidence) == ("hold", "full", "season file", Evidence.OWN)
    assert (rain.own_reason, none.own_reason) == ("", "we cut by eye")
    for name, row in given.items():
        if name not in ROW_OVERRIDES["cross_check"]:
            assert row == shipped[name]
        assert (row.petiole, row.leaf, row.soil, row.supply, row.seen, row.reason) == (
            (mate := shipped[name]).petiole,
            mate.leaf,
            mate.soil,
            mate.supply,
            mate.seen,
            mate.reason,
        )
    assert found.overrides() == [
        Override("cross_check.low-rain", shipped["low-rain"].reason, "full", "half", "season file"),
        Override("cross_check.high-leaf-none", shipped["high-leaf-none"].reason, "full", "hold", "we cut by eye"),
    ]


def test_the_limit_of_a_companion_is_overridden_by_its_id() -> None:
    found = overridden(companions=ROW_OVERRIDES["companions"])
    given = {rule.id: rule for rule in found.companions}
    shipped = {rule.id: rule for rule in policy().companions}
    potassium, boron = given["potassium"], given["boron"]
    assert (potassium.limit, potassium.shipped) == (1.6, 1.4)
    assert (potassium.source, potassium.evidence) == ("season file", Evidence.OWN)
    assert (potassium.own_reason, boron.own_reason) == ("our variety", "")
    assert (boron.limit, boron.shipped) == (35.0, 40.0)
    assert (boron.source, boron.evidence) == ("season file", Evidence.OWN)
    for name, rule in given.items():
        assert (rule.analyte, rule.applies, rule.unit, rule.advice) == (
            (mate := shipped[name]).analyte,
            mate.applies,
            mate.unit,
            mate.advice,
        )
        assert rule == shipped[name] or name in ROW_OVERRIDES["companions"]
    assert found.overrides() == [
        Override("companions.potassium", "limit for potassium", "1.4 %", "1.6 %", "our variety"),
        Override("companions.boron", "limit for boron", "40 ppm", "35 ppm", "season file"),
    ]


@pytest.mark.parametrize(
    ("table", "bad"),
    [
        ("cross_check", {"low-rain": "double"}),
        ("cross_check", {"low-rain": 0.5}),
        ("companions", {"boron": 0.0}),
        ("companions", {"boron": "many"}),
        ("companions", {"boron": float("inf")}),
    ],
)
def test_a_row_set_to_what_it_cannot_be_is_refused(table: str, bad: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        overridden(**{table: bad})


def test_overridden_rows_count_in_the_digest() -> None:
    digests = {
        overridden(**{table: {name: value}}).digest()
        for table, given in ROW_OVERRIDES.items()
        for name, value in given.items()
    }
    assert len(digests | {policy().digest()}) == 5


def test_every_row_has_an_id_of_its_own() -> None:
    found = policy()
    for ids in ([row.id for row in found.cross_check], [rule.id for rule in found.companions]):
        assert len(ids) == len(set(ids)) > 0


def test_overriding_leaves_the_shipped_data_alone() -> None:
    data = shipped_data()
    before = copy.deepcopy(data)
    with_overrides(data, {"stale_days": 10, **ROW_OVERRIDES})
    assert data == before


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("confidence", 0.5, 0.49),
        ("confidence", 0.999, 1.0),
        ("cv_petiole", 0.001, 0.0),
        ("cv_petiole", 2.0, 2.01),
        ("within_laboratory", 1.0, 1.01),
        ("protocol_count", 1, 0),
        ("protocol_count", 1000, 1001),
        ("stale_days", 0, -1),
        ("stale_days", 366, 367),
        ("supply_share", 1.0, 1.01),
        ("supply_over", 2.0, 2.01),
        ("laboratory_petiole", 0.0, -0.01),
        ("laboratory_leaf", 2.0, 2.01),
        ("sap_meter", 2.0, 2.01),
        ("sap_meter_diluted", 0.001, 0.0),
        ("stage_doubt_days", 0, -1),
        ("stage_guess_days", 366, 367),
        ("leaving_chance", 0.5, 0.49),
        ("raise_persistent", 0.5, 2.01),
        ("cut_persistent", 0.25, 1.01),
        ("raise_largest", 2.0, 2.01),
        ("cut_largest", 1.0, 1.01),
        ("slow_mix_below", 0.0, -0.01),
        ("slow_mix_below", 1.0, 1.01),
        ("apart_days", 0, -1),
        ("apart_days", 366, 367),
        ("half_step", 0.05, 0.04),
        ("half_step", 0.95, 0.96),
        ("one_edge_factor", 1.01, 1.0),
        ("one_edge_factor", 100, 101),
        ("ease_from", 0.0, -0.01),
        ("ease_from", 1.0, 1.01),
        ("near_plan", 0.0, -0.01),
        ("near_plan", 1.0, 1.01),
        ("smallest_step", 0.01, 0.0),
        ("soil_nitrate_ppm", 1000, 1001),
        ("raise_largest_at", 0.01, 0.0),
        ("raise_largest_at", 100, 101),
        ("no_raise_after_week", 100, 101),
        ("ceiling", 100, 101),
        ("ease_share", 0, -0.1),
    ],
)
def test_figures_out_of_their_range_are_refused(name: str, good: float, bad: float) -> None:
    assert getattr(overridden(**{name: good}), name).value == good
    with pytest.raises(ValidationError, match=f"{bad:g} is outside"):
        overridden(**{name: bad})


WHOLE = {
    "protocol_count",
    "stale_days",
    "leaf_days",
    "observation_days",
    "soil_nitrate_days",
    "lag_nitrate_days",
    "lag_ammonium_days",
    "stage_doubt_days",
    "stage_guess_days",
    "supply_days",
    "results_for_second_change",
    "apart_days",
    "no_raise_after_week",
    "sample_days",
    "resample_days",
    "laboratory_days",
    "late_days",
}
"""Figures that count days, weeks, leaves or results."""


@pytest.mark.parametrize("name", sorted(WHOLE))
@pytest.mark.parametrize("more", [0.5, 1e-6, -0.25])
def test_a_count_that_is_no_whole_number_is_refused(name: str, more: float) -> None:
    shipped = figures(policy())[name]
    bad = shipped.value + more
    with pytest.raises(ValidationError, match=f"{bad:g} should be a whole number of {shipped.unit}"):
        overridden(**{name: bad})
    assert figures(overridden(**{name: float(shipped.value)}))[name].value == shipped.value


def test_every_other_figure_may_be_a_fraction() -> None:
    """A little more or less, which none of the bounds between figures stands against."""
    assert {*figures(policy())} > WHOLE
    upwards = {"leaving_chance", "laboratory_petiole", "laboratory_leaf", "cut_first"}
    for name, figure in figures(policy()).items():
        if name not in WHOLE:
            value = figure.value + (0.0007 if name in upwards else -0.0007)
            assert not value.is_integer()
            assert figures(overridden(**{name: value}))[name].value == value


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), "many", None])
def test_figures_that_are_no_numbers_are_refused(bad: object) -> None:
    with pytest.raises(ValidationError):
        overridden(stale_days=bad)


@pytest.mark.parametrize("bad", ["sometimes", "", 3])
def test_an_unknown_choice_after_recovery_is_refused(bad: object) -> None:
    with pytest.raises(ValidationError):
        overridden(after_recovery=bad)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"raise_first": 0.6}, "raise_first 0.6 is above raise_largest 0.5"),
        ({"smallest_step": 0.11}, "smallest_step 0.11 is above cut_first 0.1"),
        (
            {"smallest_step": 0.24, "cut_first": 0.25, "raise_first": 0.2},
            "smallest_step 0.24 is above raise_first 0.2",
        ),
        ({"raise_persistent": 0.09}, "smallest_step 0.1 is above raise_persistent 0.09"),
        ({"leaf_low_raise": 0.09}, "smallest_step 0.1 is above leaf_low_raise 0.09"),
        ({"cut_persistent": 0.09}, "smallest_step 0.1 is above cut_persistent 0.09"),
        ({"raise_persistent": 0.51}, "raise_persistent 0.51 is above raise_largest 0.5"),
        ({"raise_persistent": 0.45, "raise_largest": 0.4}, "raise_persistent 0.45 is above raise_largest 0.4"),
        ({"leaf_low_raise": 0.51}, "leaf_low_raise 0.51 is above raise_largest 0.5"),
        ({"leaf_low_raise": 0.45, "raise_largest": 0.4}, "leaf_low_raise 0.45 is above raise_largest 0.4"),
        ({"cut_persistent": 0.26}, "cut_persistent 0.26 is above cut_largest 0.25"),
        ({"cut_persistent": 0.25, "cut_largest": 0.2}, "cut_persistent 0.25 is above cut_largest 0.2"),
        ({"cut_first": 0.26}, "cut_first 0.26 is above cut_largest 0.25"),
        ({"floor": 7.5}, "floor 7.5 is above ceiling 7"),
        ({"supply_over": 0.79}, "supply_share 0.8 is above supply_over 0.79"),
        ({"stage_doubt_days": 15}, "stage_doubt_days 15 is above stage_guess_days 14"),
        ({"lag_nitrate_days": 15}, "lag_nitrate_days 15 is above lag_ammonium_days 14"),
    ],
)
def test_figures_that_contradict_each_other_are_refused(values: dict[str, float], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        overridden(**values)


def test_a_largest_step_below_the_shipped_persistent_one_is_no_contradiction() -> None:
    """The rules limit what the program ships by what the season file sets; only its own figures are refused."""
    found = overridden(raise_largest=0.34, cut_largest=0.12)
    assert found.raise_persistent.value == found.leaf_low_raise.value == 0.50 > found.raise_largest.value
    assert found.cut_persistent.value == 0.25 > found.cut_largest.value
    met = overridden(
        raise_largest=0.4, raise_persistent=0.4, leaf_low_raise=0.4, cut_largest=0.2, cut_persistent=0.2
    )
    assert len(met.overrides()) == 5


@pytest.mark.parametrize(
    ("values", "name"),
    [
        ({"raise_persistent": 0.51}, "raise_persistent"),
        ({"raise_persistent": 0.45, "raise_largest": 0.4}, "raise_persistent"),
        ({"raise_first": 0.6}, "raise_first"),
        ({"raise_largest": 0.3}, "raise_largest"),
    ],
)
def test_of_two_figures_that_contradict_each_other_the_growers_own_is_at_fault(
    values: dict[str, float], name: str
) -> None:
    with pytest.raises(ValidationError) as caught:
        overridden(**values)
    (error,) = caught.value.errors()
    assert [place for place, _ in error["ctx"]["error"].placed] == [(name,)]


def test_figures_that_meet_exactly_are_taken() -> None:
    found = overridden(
        raise_first=0.5,
        smallest_step=0.25,
        cut_first=0.25,
        floor=7.0,
        supply_over=0.8,
        stage_doubt_days=14,
        lag_nitrate_days=14,
    )
    assert found.raise_first.value == 0.5 and len(found.overrides()) == 7


def test_every_contradiction_is_told_at_once() -> None:
    with pytest.raises(ValidationError) as caught:
        overridden(floor=7.5, raise_first=0.6)
    assert "floor 7.5 is above ceiling 7" in str(caught.value)
    assert "raise_first 0.6 is above raise_largest 0.5" in str(caught.value)


def test_an_unknown_policy_name_is_no_override() -> None:
    with pytest.raises(KeyError):
        with_overrides(shipped_data(), {"stale_weeks": 2})


def season_file(where: Path, text: str) -> Path:
    sample = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
    (where / "season.toml").write_text(f"{sample}\n[policy]\n{text}\n", encoding="utf-8")
    return where


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ("stale_weeks = 2", "policy.stale_weeks", "is no policy value"),
        ('crop = "tomato"', "policy.crop", "is no policy value"),
        ("floor = 3.0", "policy.floor", "is set under [bounds]"),
        ("ceiling = 7.0", "policy.ceiling", "is set under [bounds]"),
        ("confidence = 0.3", "policy.confidence", "outside 0.5 to 0.999"),
        ("stale_days = 10.5", "policy.stale_days", "10.5 should be a whole number of days"),
        ("no_raise_after_week = 9.5", "policy.no_raise_after_week", "9.5 should be a whole number of"),
        ("protocol_count = 20.5", "policy.protocol_count", "20.5 should be a whole number of"),
        ("raise_persistent = 0.6", "policy.raise_persistent", "is above raise_largest 0.5"),
        ("stale_days = { days = 3 }", "policy.stale_days", "write a value"),
        ("raise_largest = 0.2", "policy.raise_largest", "is above raise_largest 0.2"),
        ("smallest_step = 0.2", "policy.smallest_step", "is above cut_first 0.1"),
        ('cross_check.sufficient = "half"', "policy.cross_check.sufficient", "can only be hold"),
        ('cross_check.low-rain = "double"', "policy.cross_check.low-rain", "hold"),
        ('cross_check.low-snow = "half"', "policy.cross_check.low-snow", "is no row of it"),
        ("cross_check.low-rain = { step = 'half' }", "policy.cross_check.low-rain", "write a value"),
        ('cross_check = "half"', "policy.cross_check", "write it as a table"),
        ("companions.boron = -1.0", "policy.companions.boron", "greater than 0"),
        ("companions.zinc = 20.0", "policy.companions.zinc", "is no row of it"),
        ("companions.boron = { limit = 35.0 }", "policy.companions.boron", "write a value"),
    ],
)
def test_the_season_file_names_the_line_of_a_wrong_policy_value(
    tmp_path: Path, text: str, key: str, message: str
) -> None:
    where = season_file(tmp_path, text)
    lines = (where / "season.toml").read_text(encoding="utf-8").splitlines()
    with pytest.raises(UserError) as caught:
        read_season(where)
    (fault,) = caught.value.faults
    assert fault.key.startswith(key)
    assert message in fault.message
    assert fault.line is not None and lines[fault.line - 1] == text


def test_the_season_file_sets_policy_values_for_every_block(tmp_path: Path) -> None:
    found = read_season(season_file(tmp_path, 'stale_days = { value = 10, reason = "wet spring" }'))
    assert [block.policy.stale_days.value for block in found.blocks.values()] == [10, 10, 10]
    for figure in (found.policy.stale_days, *(block.policy.stale_days for block in found.blocks.values())):
        assert (figure.source, figure.own_reason) == ("season file", "wet spring")


def test_the_season_file_sets_single_rows_of_the_tables(tmp_path: Path) -> None:
    text = '[policy.cross_check]\nlow-rain = { value = "half", reason = "sandy soil" }\n'
    found = read_season(season_file(tmp_path, f"{text}\n[policy.companions]\nboron = 35.0")).policy
    changed = {item.name: (item.shipped, item.own, item.reason) for item in found.overrides()}
    assert changed == {
        "cross_check.low-rain": ("full", "half", "sandy soil"),
        "companions.boron": ("40 ppm", "35 ppm", "season file"),
    }


def test_a_season_file_without_bounds_takes_floor_and_ceiling_of_the_policy(tmp_path: Path) -> None:
    where = season_file(tmp_path, "")
    path = where / "season.toml"
    text = path.read_text(encoding="utf-8").replace("floor = 3.0\n", "").replace("ceiling = 7.0\n", "")
    path.write_text(text, encoding="utf-8")
    plan = read_season(where).blocks["creek"].plan
    assert (plan.floor_lb_ac, plan.ceiling_lb_ac) == (3.0, 7.0)


def test_the_digest_changes_with_every_value() -> None:
    base = policy()
    seen = {base.digest()}
    for name, figure in figures(base).items():
        moved = figure.model_copy(update={"value": figure.value * 1.01 + 0.001})
        seen.add(base.model_copy(update={name: moved}).digest())
    seen.add(overridden(after_recovery="plan").digest())
    seen.add(overridden(recalled_may_cut=True).digest())
    assert len(seen) == len(figures(base)) + 3


def test_the_digest_tells_one_reason_from_another() -> None:
    reasons = ("", "wet spring", "dry spring")
    assert len({overridden(stale_days={"value": 10, "reason": text}).digest() for text in reasons}) == 3


def test_a_reason_that_reads_like_a_source_is_never_taken_for_one() -> None:
    given = {"value": 10, "reason": "UGA-2021"}
    found = overridden(
        stale_days=given, companions={"boron": given}, cross_check={"low-rain": given | {"value": "half"}}
    )
    rows = rows_of(found)
    for item in (found.stale_days, rows["boron"], rows["low-rain"]):
        assert (item.source, item.evidence, item.own_reason) == ("season file", Evidence.OWN, "UGA-2021")
    assert [item.reason for item in found.overrides()] == ["UGA-2021"] * 3


def test_the_digest_is_the_same_for_the_same_policy() -> None:
    assert policy().digest() == policy().digest()
    assert digest({"b": 1, "a": date(2026, 3, 2)}) == digest({"a": date(2026, 3, 2), "b": 1})
    assert digest({"a": 1}) != digest({"a": 2})


def test_the_digest_tells_an_override_from_the_same_value_as_shipped() -> None:
    assert overridden(stale_days=14).digest() != policy().digest()


@pytest.mark.parametrize("petiole", ["low", "sufficient", "high"])
def test_a_table_without_rows_for_a_state_of_the_petiole_is_refused(petiole: str) -> None:
    data = shipped_data()
    data["cross_check"] = [row for row in data["cross_check"] if row["petiole"] != petiole]
    first = f"petiole {petiole}, leaf low, soil above, supply short, roots"
    with pytest.raises(ValidationError, match=f"180 cells have no row, the first is: {first}"):
        Policy.model_validate(data)


def test_a_cross_check_row_that_stands_twice_is_refused_as_double_and_as_dead() -> None:
    data = shipped_data()
    data["cross_check"].append(dict(data["cross_check"][0]))
    with pytest.raises(ValidationError) as caught:
        Policy.model_validate(data)
    assert "low-roots stands twice" in str(caught.value)
    assert "low-roots decides nothing: rows above it fit all of its cells" in str(caught.value)


def test_an_unknown_step_of_a_cross_check_cell_is_refused() -> None:
    data = shipped_data()
    data["cross_check"][0]["step"] = "double"
    with pytest.raises(ValidationError):
        Policy.model_validate(data)


def test_an_unknown_key_of_a_policy_is_refused() -> None:
    with pytest.raises(ValidationError):
        Policy.model_validate(shipped_data() | {"wishes": 1})


ZINC = {
    "id": "zinc",
    "analyte": "Zn",
    "applies": "below",
    "limit": 20.0,
    "unit": "ppm",
    "advice": "spray",
    "source": "none",
    "evidence": "common practice",
}


@pytest.mark.parametrize(
    ("applies", "below"), [("below", True), ("at or below", True), ("above", False), ("at or above", False)]
)
def test_a_companion_rule_says_on_which_side_it_applies(applies: str, below: bool) -> None:
    assert CompanionRule.model_validate(ZINC | {"applies": applies}).below is below


@pytest.mark.parametrize(
    "wrong",
    [
        {"applies": "near"},
        {"limit": 0.0},
        {"limit": -1.0},
        {"limit": float("nan")},
        {"limit": "20"},
        {"every": "month"},
        {"supplies": "zn"},
        {"amount": [1.0]},
        {"name": "zinc"},
    ],
)
def test_a_companion_rule_of_another_form_is_refused(wrong: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        CompanionRule.model_validate(ZINC | wrong)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"advice": "{amount} by drip"}, "needs amount and of"),
        ({"advice": "{amount} by drip", "amount": [1.0, 2.0]}, "needs amount and of"),
        ({"advice": "{amount} by drip", "of": "zinc"}, "needs amount and of"),
        ({"advice": "never above {most}"}, "needs most"),
    ],
)
def test_advice_with_an_amount_needs_the_amount(given: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        CompanionRule.model_validate(ZINC | given)
    whole = {"amount": [1.0, 2.0], "of": "zinc sulfate", "most": 3.0}
    assert CompanionRule.model_validate(ZINC | given | whole).amount == (1.0, 2.0)
