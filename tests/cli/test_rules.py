"""``rules``: figures, published schedules, totals and statements, listed and shown."""

from __future__ import annotations

import json

import pytest

from fertadjust.cli.rules import NO_AMOUNT, NO_CUT
from fertadjust.rules.policy import Policy
from fertadjust.shipped import citations, shipped_policies, shipped_policy
from tests.cli.conftest import Refused, Run, too_wide

POLICIES = sorted(shipped_policies())


def words(text: str) -> str:
    return " ".join(text.split())


# --- list ----------------------------------------------------------------------------------------------------


def test_every_set_of_rules_is_listed_with_crop_system_and_region(run: Run) -> None:
    output = run("rules", "list").output
    text = words(output)
    for name, policy in shipped_policies().items():
        assert f"{name}\n" in output
        assert all(region in text for region in policy.regions or ())
    assert (
        "tomato; field, drip plasticulture; Florida; 2 schedules, 2 totals, 5 statements; some of it recalled"
        in text
    )
    assert "any crop; any system; no region in particular; figures alone" in text
    assert too_wide(output) == []


def test_rules_of_one_crop_are_listed_by_any_of_its_names_with_those_of_no_crop(run: Run) -> None:
    output = run("rules", "list", "--crop", "cantaloupe").output
    names = [line for line in output.splitlines() if line and " " not in line]
    assert names == ["florida-muskmelon", "mid-atlantic-melons"]
    assert "Rules of no crop in particular: florida-drip, general, mid-atlantic." in words(output)


def test_names_are_found_in_capitals(run: Run) -> None:
    assert (
        run("rules", "list", "--crop", " Sweet  Corn").output
        == run("rules", "list", "--crop", "sweet corn").output
    )
    assert run("rules", "show", "Florida-Tomato").output == run("rules", "show", "florida-tomato").output


def test_regions_with_commas_in_their_names_are_set_apart(run: Run) -> None:
    for args in (("list",), ("show", "georgia-cotton")):
        assert "Georgia, Coastal Plain; Georgia" in words(run("rules", *args).output)


def test_only_what_is_recalled_is_marked_so(run: Run) -> None:
    text = words(run("rules", "list", "--crop", "sweet corn").output)
    assert "sweet corn; field; Delaware, Mid-Atlantic; 2 statements Rules of" in text


def test_a_crop_without_rules_is_told_which_have_some(refused: Refused) -> None:
    said = words(refused("rules", "list", "--crop", "celery"))
    assert 'no rules are bound to "celery"' in said
    assert "broccoli" in said and "watermelon" in said and "any crop" not in said
    assert 'rules = "general"' in said


def test_rules_are_listed_for_machines(run: Run) -> None:
    data = json.loads(run("rules", "list", "--json").output)
    assert [item["id"] for item in data] == list(shipped_policies())
    [tomato] = [item for item in data if item["id"] == "florida-tomato"]
    assert tomato == {
        "id": "florida-tomato",
        "title": "Tomato, drip plasticulture, Florida",
        "crops": ["tomato"],
        "system": "field, drip plasticulture",
        "regions": ["Florida"],
        "schedules": 2,
        "totals": 2,
        "statements": 5,
        "recalled": True,
    }


# --- show ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["us", "metric"])
@pytest.mark.parametrize("name", POLICIES)
def test_rules_are_shown_with_every_figure_its_meaning_source_and_evidence(
    run: Run, name: str, units: str
) -> None:
    output = run("rules", "show", name, "--units", units).output
    assert too_wide(output) == []
    text, policy = words(output), shipped_policy(name)
    assert policy.title in text and policy.system.removeprefix("any") in text
    for key in Policy.model_fields:
        item = getattr(policy, key)
        if hasattr(item, "meaning"):
            assert f" {key} = " in text
            assert words(item.meaning) in text, key
            assert item.evidence.value in text
    for row in policy.cross_check:
        assert f"{row.id}: {row.step}; {words(row.reason)}" in text
    for rule in policy.companions:
        assert f"{rule.id}: {rule.analyte} {rule.applies}" in text
    for said in policy.published.every() if policy.published is not None else ():
        assert said.id in text
        assert said.source.split(";")[0] in text
        if said.note:
            assert words(said.note) in text
    for statement in policy.published.statements if policy.published is not None else ():
        assert f"{statement.id}: {words(statement.text)}." in text
    assert NO_CUT in text
    assert (NO_AMOUNT in text) is (policy.corrective_least is None)


def test_a_schedule_is_shown_by_day_and_week_with_what_its_acre_means(run: Run) -> None:
    """UF-VPH, recalled: 1.5 lb N/ac/day in weeks 1 and 2 for tomato, 196 lb/ac in all."""
    output = run("rules", "show", "florida-tomato").output
    text = words(output)
    assert "week 1 begins with transplanting; per acre of linear bed at 6 ft between bed centres" in text
    assert "UF/IFAS, older schedule: week 1 begins with transplanting; what it counts by is not stated" in text
    [row] = [line for line in output.splitlines() if line.startswith("X41-01 ")]
    assert words(row).startswith("X41-01 weeks 1 to 2 1.50 10.50 UF-VPH, recalled")
    [row] = [line for line in output.splitlines() if line.startswith("X41-04 ")]
    assert words(row).startswith("X41-04 week 12 2.00 14.00")
    assert "lb N/ac/day lb N/ac/week" in text
    assert "In all 196.00 lb N/ac over 13 weeks." in text


def test_a_schedule_is_shown_in_metric(run: Run) -> None:
    """1.5 lb/ac is 1.68 kg/ha, 10.5 is 11.77, 196 is 219.69."""
    output = run("rules", "show", "florida-tomato", "--units", "metric").output
    text = words(output)
    [row] = [line for line in output.splitlines() if line.startswith("X41-01 ")]
    assert words(row).startswith("X41-01 weeks 1 to 2 1.68 11.77")
    assert "kg N/ha/day kg N/ha/week" in text
    assert "per hectare of linear bed at 1.83 m between bed centres" in text
    assert "In all 219.69 kg N/ha over 13 weeks." in text


def test_totals_are_shown_in_both_units(run: Run) -> None:
    """UF-HS1429: 200 to 250 lb/ac, 224 to 280 kg/ha."""
    assert "X41-22 whole season 200.00 to 250.00 lb N/ac UF-HS1429, published" in words(
        run("rules", "show", "florida-potato").output
    )
    assert "224.17 to 280.21 kg N/ha" in words(run("rules", "show", "florida-potato", "--units", "metric").output)


def test_the_amount_for_a_low_result_is_shown_in_both_units(run: Run) -> None:
    """UF-HS906, recalled: 7 x 1.5 to 7 x 2.0 lb/ac; 11.77 to 15.69 kg/ha."""
    said = "A low petiole or leaf calls for {} more in all (UF-HS906; UF-VPH, recalled)."
    assert said.format("10.50 to 14.00 lb N/ac") in words(run("rules", "show", "florida-drip").output)
    metric = words(run("rules", "show", "florida-drip", "--units", "metric").output)
    assert said.format("11.77 to 15.69 kg N/ha") in metric
    assert "corrective_most = 15.69 kg N/ha in all" in metric
    leaf = words(run("rules", "show", "mid-atlantic-eggplant").output)
    assert "A low leaf calls for 30.00 lb N/ac more in all (UDEL-T, published)." in leaf


def test_bounds_are_shown_in_the_units_asked_for(run: Run) -> None:
    """3.5 and 17.5 lb/ac are 3.923 and 19.61 kg/ha."""
    us = words(run("rules", "show", "florida-watermelon").output)
    assert "floor = 3.5 lb N/ac/week" in us and "ceiling = 17.5 lb N/ac/week" in us
    metric = words(run("rules", "show", "florida-watermelon", "--units", "metric").output)
    assert "floor = 3.923 kg N/ha/week" in metric and "ceiling = 19.61 kg N/ha/week" in metric


def test_figures_without_an_area_stay_as_they_are_in_metric(run: Run) -> None:
    metric = words(run("rules", "show", "georgia-cotton", "--units", "metric").output)
    assert "stop_after_week = 3 weeks from first bloom" in metric
    assert "recalled_may_cut = no" in metric and "after_recovery = ease" in metric


def test_statements_stand_under_their_occasions(run: Run) -> None:
    output = run("rules", "show", "georgia-cotton").output
    places = [
        output.index(title)
        for title in ("Whatever the result", "X45-09", "On a low result", "X45-07", "Past the last week", "X45-08")
    ]
    assert places == sorted(places)
    assert "On a high result\n" not in output


def test_every_source_is_cited_in_full(run: Run) -> None:
    text = words(run("rules", "show", "florida-watermelon").output)
    for key in ("WM-SEEP", "UF-WARREN", "SCG-HOCH", "SCI-HOCH", "UF-WM23", "UF-WM21", "UMD-WM", "UF-HS906"):
        assert f"{key}: {words(citations()[key])[:40]}" in text
    assert "recalled: from memory, not checked against the document" in text


@pytest.mark.parametrize("name", POLICIES)
def test_rules_for_machines_can_be_read_again(run: Run, name: str) -> None:
    data = json.loads(run("rules", "show", name, "--json").output)
    cited = data.pop("citations")
    assert set(cited) <= set(citations())
    assert Policy.model_validate(data) == shipped_policy(name)


def test_rules_that_are_not_there_are_refused(refused: Refused) -> None:
    assert 'there are no rules "florida-celery"; see: fertadjust rules list' in words(
        refused("rules", "show", "florida-celery")
    )
