"""The policy: figures as data, each with its source, checked as a whole."""

from __future__ import annotations

import copy
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.errors import UserError
from fertadjust.evidence import Evidence
from fertadjust.rules.policy import (
    OVERRIDABLE,
    CompanionRule,
    Consent,
    Figure,
    LeafState,
    Policy,
    Recovery,
    RecoveryChoice,
    digest,
    with_overrides,
)
from fertadjust.season_file import read_season
from fertadjust.shipped import folder, shipped_policy_files
from tests.rules import names_a_source
from tests.support import policy

PUBLISHED = {
    # figure: (value, source keys)
    "protocol_count": (20, "NCDA-2007; DE-2018"),
    "within_laboratory": (0.667, "HORWITZ-1988"),
    "soil_nitrate_ppm": (20, "HARTZ-2006; HARTZ-2000"),
    "raise_first": (1 / 3, "UGA-2021"),
    "raise_largest": (0.50, "UGA-AESL; TOMATO-SAP-1988"),
    "leaf_low_raise": (0.50, "UGA-AESL"),
    "sample_days": (14, "NCDA-2007; NCDA-2015"),
    "resample_days": (7, "NCDA-2023"),
}
CHOICES = {"recalled_may_cut", "after_recovery"}


def shipped_data() -> dict[str, Any]:
    return copy.deepcopy(shipped_policy_files()["strawberry", "annual plasticulture"].data)


def figures(of: Policy) -> dict[str, Figure]:
    return {name: value for name in Policy.model_fields if isinstance(value := getattr(of, name), Figure)}


def overridden(**values: Any) -> Policy:
    return Policy.model_validate(with_overrides(shipped_data(), values))


def test_the_shipped_policy_is_valid_and_is_for_strawberry_in_plasticulture() -> None:
    found = policy()
    assert (found.crop, found.system, found.late_anchor) == ("strawberry", "annual plasticulture", "first_bloom")
    assert found.overrides() == {}


@pytest.mark.parametrize("name", sorted(PUBLISHED))
def test_published_figures_stand_as_published_with_their_source(name: str) -> None:
    figure = figures(policy())[name]
    value, source = PUBLISHED[name]
    assert figure.value == pytest.approx(value)
    assert (figure.source, figure.evidence) == (source, Evidence.PUBLISHED)


def test_every_figure_says_what_it_does_and_where_it_comes_from() -> None:
    found = policy()
    for name, figure in figures(found).items():
        assert figure.meaning and figure.unit, name
        assert names_a_source(figure.source, figure.evidence.value), name
    rest = (found.recalled_may_cut, found.after_recovery, *found.cross_check, *found.companions)
    for item in rest:
        assert names_a_source(item.source, item.evidence.value), item


def test_a_figure_without_a_publication_never_counts_as_published() -> None:
    for name, figure in figures(policy()).items():
        if figure.source == "none":
            assert figure.evidence in {Evidence.PROJECT_RULE, Evidence.COMMON_PRACTICE}, name


def test_no_publication_is_claimed_for_the_size_of_a_cut() -> None:
    found = policy()
    for figure in (found.cut_largest, found.cut_largest_at, found.smallest_step):
        assert (figure.source, figure.evidence) == ("none", Evidence.PROJECT_RULE)


def test_every_figure_and_choice_may_be_set_by_the_grower_and_nothing_else() -> None:
    names = {
        name
        for name in Policy.model_fields
        if isinstance(getattr(policy(), name), Figure | Consent | RecoveryChoice)
    }
    assert set(OVERRIDABLE) == names
    assert set(OVERRIDABLE) >= CHOICES | {"confidence", "stale_days", "cut_largest", "no_raise_after_week"}
    assert not set(OVERRIDABLE) & {"id", "crop", "late_anchor", "cross_check", "companions"}


def test_an_override_shows_the_shipped_value_and_the_growers_reason() -> None:
    found = overridden(stale_days={"value": 10, "reason": "our laboratory is in town"}, confidence=0.9)
    assert (found.stale_days.value, found.stale_days.shipped) == (10, 14)
    assert (found.stale_days.source, found.stale_days.evidence) == ("our laboratory is in town", Evidence.OWN)
    assert (found.stale_days.unit, found.stale_days.meaning) == (
        policy().stale_days.unit,
        policy().stale_days.meaning,
    )
    assert (found.confidence.value, found.confidence.shipped) == (0.9, 0.8)
    assert (found.confidence.source, found.confidence.evidence) == ("season file", Evidence.OWN)
    assert set(found.overrides()) == {"stale_days", "confidence"}
    assert found.lag_nitrate_days == policy().lag_nitrate_days


def test_choices_are_overridden_like_figures() -> None:
    found = overridden(after_recovery="keep", recalled_may_cut=True)
    assert (found.after_recovery.value, found.after_recovery.shipped) == (Recovery.KEEP, Recovery.EASE)
    assert (found.recalled_may_cut.value, found.recalled_may_cut.shipped) == (True, False)
    assert set(found.overrides()) == CHOICES


def test_overriding_leaves_the_shipped_data_alone() -> None:
    data = shipped_data()
    before = copy.deepcopy(data)
    with_overrides(data, {"stale_days": 10})
    assert data == before


@pytest.mark.parametrize(
    ("name", "good", "bad"),
    [
        ("confidence", 0.5, 0.49),
        ("confidence", 0.999, 1.0),
        ("cv_petiole", 0.0, -0.01),
        ("cv_petiole", 2.0, 2.01),
        ("within_laboratory", 1.0, 1.01),
        ("protocol_count", 1, 0),
        ("protocol_count", 1000, 1001),
        ("stale_days", 0, -1),
        ("stale_days", 366, 367),
        ("supply_share", 1.0, 1.01),
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
        ({"raise_first": 0.6}, "raise_first is above raise_largest"),
        ({"smallest_step": 0.30}, "smallest_step is above raise_first or cut_largest"),
        ({"smallest_step": 0.24, "raise_first": 0.2}, "smallest_step is above raise_first or cut_largest"),
        ({"floor": 7.5}, "floor is above ceiling"),
    ],
)
def test_figures_that_contradict_each_other_are_refused(values: dict[str, float], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        overridden(**values)


def test_figures_that_meet_exactly_are_taken() -> None:
    assert overridden(raise_first=0.5, smallest_step=0.25, floor=7.0).raise_first.value == 0.5


def test_an_unknown_policy_name_is_no_override() -> None:
    with pytest.raises(KeyError):
        with_overrides(shipped_data(), {"stale_weeks": 2})


def season_file(where: Path, text: str) -> Path:
    sample = (folder("sample_data") / "season.toml").read_text(encoding="utf-8")
    (where / "season.toml").write_text(f"{sample}\n[policy]\n{text}\n", encoding="utf-8")
    return where


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ("stale_weeks = 2", "policy.stale_weeks", "is no policy value"),
        ('crop = "tomato"', "policy.crop", "is no policy value"),
        ("confidence = 0.3", "policy.confidence", "outside 0.5 to 0.999"),
        ("stale_days = { days = 3 }", "policy.stale_days", "write a value"),
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
    assert found.policy.stale_days.source == "wet spring"


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


def test_the_digest_is_the_same_for_the_same_policy() -> None:
    assert policy().digest() == policy().digest()
    assert digest({"b": 1, "a": date(2026, 3, 2)}) == digest({"a": date(2026, 3, 2), "b": 1})
    assert digest({"a": 1}) != digest({"a": 2})


def test_the_digest_tells_an_override_from_the_same_value_as_shipped() -> None:
    assert overridden(stale_days=14).digest() != policy().digest()


@pytest.mark.parametrize("petiole", ["low", "sufficient", "high"])
@pytest.mark.parametrize("leaf", list(LeafState))
def test_a_missing_cross_check_cell_is_refused(petiole: str, leaf: LeafState) -> None:
    data = shipped_data()
    data["cross_check"] = [
        cell for cell in data["cross_check"] if (cell["petiole"], cell["leaf"]) != (petiole, leaf.value)
    ]
    with pytest.raises(ValidationError, match=f"missing: .*{petiole} x {leaf.value}"):
        Policy.model_validate(data)


def test_a_cross_check_cell_that_stands_twice_is_refused() -> None:
    data = shipped_data()
    data["cross_check"].append(dict(data["cross_check"][0]))
    with pytest.raises(ValidationError, match="each petiole x leaf cell once"):
        Policy.model_validate(data)


def test_an_unknown_step_of_a_cross_check_cell_is_refused() -> None:
    data = shipped_data()
    data["cross_check"][0]["step"] = "double"
    with pytest.raises(ValidationError):
        Policy.model_validate(data)


def test_an_unknown_key_of_a_policy_is_refused() -> None:
    with pytest.raises(ValidationError):
        Policy.model_validate(shipped_data() | {"wishes": 1})


@pytest.mark.parametrize("limits", [{}, {"below": 1.0, "above": 2.0}])
def test_a_companion_rule_needs_one_limit(limits: dict[str, float]) -> None:
    given = {
        "name": "zinc",
        "analyte": "Zn",
        "unit": "ppm",
        "advice": "spray",
        "source": "none",
        "evidence": "common practice",
    }
    with pytest.raises(ValidationError, match="either below or above"):
        CompanionRule.model_validate(given | limits)
