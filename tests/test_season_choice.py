"""Which rules and tables a season file gets, what does not fit about them, and the order of its stages.

The farm is invented; what rules and tables hold is theirs.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from fertadjust.errors import Fault, UserError
from fertadjust.plan import Change, RatePath
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import crop_stages
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem

TEXT = """
schema = 1
[farm]
name = "Invented"
[crop]
name = "tomato"
system = "field, drip plasticulture"
region = "Florida"
[bands]
tables = ["tomato-petiole-sap-florida"]
[stages]
transplanting = 2026-03-02
first_buds = 2026-03-23
first_flower = 2026-04-01
[plan]
start = 2026-03-02
weeks = 13
basis = "bed"
rate = 14
[[products]]
name = "calcium nitrate"
material = "calcium_nitrate"
share = 1
[blocks.north]
row_length = 300
rows = 10
bed_top_width = 2.5
bed_spacing = 5
area_basis = "bed"
"""


def edited(*changes: tuple[str, str]) -> str:
    text = TEXT
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text


def season(*changes: tuple[str, str]) -> SeasonFile:
    return parse_season(edited(*changes), Path())


def faults(*changes: tuple[str, str]) -> list[Fault]:
    with pytest.raises(UserError) as caught:
        season(*changes)
    return list(caught.value.faults)


def one_fault(*changes: tuple[str, str]) -> Fault:
    (fault,) = faults(*changes)
    return fault


COTTON = (
    ('name = "tomato"', 'name = "cotton"'),
    ('"field, drip plasticulture"', '"irrigated field"'),
    ('"Florida"', '"Georgia, Coastal Plain"'),
    ("tomato-petiole-sap-florida", "cotton-petiole-dry-georgia"),
    (
        "first_buds = 2026-03-23\nfirst_flower = 2026-04-01\n",
        "first_bloom = 2026-04-01\n[bounds]\nfloor = 2\nceiling = 20\n",
    ),
    ("transplanting = 2026-03-02\n", ""),
)


# --- rules --------------------------------------------------------------------------------------------------


def test_crop_system_and_region_find_the_rules() -> None:
    file = season()
    assert file.policy.id == "florida-tomato"
    assert not [note for note in file.notes if "rules" in note]


def test_where_no_rules_are_bound_to_a_crop_they_are_listed_and_none_is_taken() -> None:
    fault = one_fault(('"field, drip plasticulture"', '"greenhouse"'))
    assert (fault.key, fault.file) == ("crop.name", "season.toml")
    assert 'no rules are bound to "tomato" in "greenhouse", Florida' in fault.message
    for name in ("florida-tomato", "mid-atlantic-tomato-pepper", 'rules = "general"'):
        assert name in fault.message


def test_rules_of_another_system_or_region_may_be_taken_openly() -> None:
    file = season(
        ('region = "Florida"', 'region = "Maryland"\nrules = "mid-atlantic-tomato-pepper"'),
        ("[plan]", "[bounds]\nfloor = 5\nceiling = 20\n[plan]"),
    )
    assert file.policy.id == "mid-atlantic-tomato-pepper"
    assert any("are for field, the season is in field, drip plasticulture" in note for note in file.notes)
    assert any("are for Delaware, Mid-Atlantic, the season is in Maryland" in note for note in file.notes)


def test_rules_cross_to_another_region_only_when_they_are_named() -> None:
    fault = one_fault(('region = "Florida"', 'region = "Alabama"'))
    assert fault.message.startswith(
        'no rules are bound to "tomato" in "field, drip plasticulture", Alabama; write rules'
    )
    file = season(('region = "Florida"', 'region = "Alabama"\nrules = "florida-tomato"'))
    assert file.policy.id == "florida-tomato"
    assert any("rates and corrections of one region do not carry over" in note for note in file.notes)


def test_the_general_rules_are_taken_only_when_asked_for_and_say_what_they_are() -> None:
    asked = ('region = "Florida"', 'region = "Florida"\nrules = "general"')
    told = faults(asked)
    assert {fault.key for fault in told} == {"bounds.floor", "bounds.ceiling"}
    assert any("no weekly rate is published for tomato here: state floor" in fault.message for fault in told)
    file = season(asked, ("[plan]", "[bounds]\nfloor = 5\nceiling = 20\n[plan]"))
    assert any("no figure of them is published for tomato" in note for note in file.notes)


def test_rules_of_another_crop_are_refused() -> None:
    fault = one_fault(('region = "Florida"', 'region = "Florida"\nrules = "georgia-cotton"'))
    assert (fault.key, fault.message) == ("crop.rules", "georgia-cotton is for cotton, the crop is tomato")


def test_rules_that_are_not_there_are_told_with_those_of_the_crop() -> None:
    fault = one_fault(('region = "Florida"', 'region = "Florida"\nrules = "tomatoes"'))
    assert fault.message.startswith('there are no rules "tomatoes"; for tomato there are: florida-tomato')


def test_a_value_that_the_rules_do_not_have_cannot_be_set() -> None:
    fault = one_fault(("[[products]]", "[policy]\nstop_after_week = 3\n[[products]]"))
    assert fault.message.startswith("is no policy value") and "corrective_most" in fault.message


def test_a_published_amount_may_be_set_otherwise() -> None:
    file = season(("[[products]]", "[policy]\ncorrective_least = 0\ncorrective_most = 0\n[[products]]"))
    assert [item.name for item in file.policy.overrides()] == ["corrective_least", "corrective_most"]


# --- tables -------------------------------------------------------------------------------------------------


def test_a_table_of_the_field_is_for_drip_in_the_field_and_not_for_a_greenhouse() -> None:
    assert not any("its own growing system" in note for note in season().notes)
    greenhouse = season(("tomato-petiole-sap-florida", "tomato-petiole-sap-florida-greenhouse"))
    assert any("is for greenhouse, the season is grown in field, drip" in note for note in greenhouse.notes)


def test_a_table_of_a_variety_is_noted_unless_the_season_grows_it() -> None:
    name = "tomato-processing-leaf-california"
    change = ("tomato-petiole-sap-florida", name)
    assert any(f"{name} is for processing tomato; the season names no variety" in n for n in season(change).notes)
    named = season(change, ('region = "Florida"', 'region = "Florida"\nvariety = "processing"'))
    assert named.variety == "processing" and not any("is for processing" in note for note in named.notes)


def test_a_table_may_be_for_a_crop_by_another_name() -> None:
    file = season(
        ('name = "tomato"', 'name = "cantaloupe"'),
        ("tomato-petiole-sap-florida", "muskmelon-petiole-sap-florida"),
        ("first_buds = 2026-03-23\n", ""),
    )
    assert (file.policy.id, file.crop) == ("florida-muskmelon", "cantaloupe")


def test_a_table_that_ends_with_a_stage_asks_for_its_date() -> None:
    assert any("has no band from third harvest on: date that stage" in note for note in season().notes)


# --- stages -------------------------------------------------------------------------------------------------


def test_stages_out_of_the_crops_order_are_noted_where_no_table_is_placed_by_them() -> None:
    file = season(("first_flower = 2026-04-01", "first_flower = 2026-04-01\nfive_leaf = 2026-03-28"))
    (note,) = [note for note in file.notes if "The usual order" in note]
    assert note.startswith("Block north: first buds on Mon 23 Mar 2026 is before five leaf on Sat 28 Mar 2026.")
    assert "The usual order in tomato is transplanting or five leaf, then first buds" in note


def test_stages_of_a_table_have_to_rise() -> None:
    fault = one_fault(("first_flower = 2026-04-01", "first_flower = 2026-03-20"))
    assert fault.message == "tomato-petiole-sap-florida needs rising dates for first_buds, first_flower"


@pytest.mark.parametrize(
    ("crop", "first", "second"),
    [
        ("tomato", "first_harvest", "first_colour"),  # picked mature green
        ("tomato", "fruit_1_inch", "full_bloom"),
        ("cotton", "cutout", "bloom_week_4"),
        ("potato", "tuber_bulking", "first_flower"),
        ("strawberry", "first_harvest", "full_bloom"),
        ("watermelon", "first_flower", "layby"),
        ("cucumber", "first_harvest", "fruit_3_inch"),  # pickles
    ],
)
def test_what_the_field_does_either_way_round_is_not_called_out_of_order(
    crop: str, first: str, second: str
) -> None:
    """Common practice."""
    order = crop_stages().of(crop)
    assert order is not None
    assert not list(order.out_of_order({first: date(2026, 5, 1), second: date(2026, 5, 9)}))
    assert not list(order.out_of_order({second: date(2026, 5, 1), first: date(2026, 5, 9)}))


def test_a_table_by_weeks_waits_for_its_anchor() -> None:
    file = season(*COTTON, ("first_bloom = 2026-04-01\n", ""))
    assert any("has no band before first_bloom has a date" in note for note in file.notes)


def test_a_stage_that_nothing_knows_is_noted_with_those_there_are() -> None:
    file = season(("first_flower = 2026-04-01", "first_flower = 2026-04-01\nfirst_flwer = 2026-04-02"))
    (note,) = [note for note in file.notes if "first flwer" in note]
    assert "is no stage of tomato that a table or a rule knows" in note and "first_flower" in note


# --- a last week of feeding ---------------------------------------------------------------------------------


def test_cotton_is_fed_to_the_third_week_of_bloom_and_no_longer() -> None:
    """UGA-COT: no soil nitrogen after the third week of bloom, here from 22 April on."""
    file = season(*COTTON)
    plan = file.blocks["north"].plan
    assert [week.number for week in plan.weeks if week.rate_lb_ac > 0] == list(range(1, 8))
    assert plan.weeks[6].end == date(2026, 4, 19)  # week 8 would reach beyond the third week of bloom
    (note,) = [note for note in file.notes if "nothing is fed" in note]
    assert "from week 8 of the plan on, which reaches beyond Tue 21 Apr 2026" in note and "UGA-COT" in note


def test_a_bloom_date_moved_later_moves_the_last_week_and_a_reason_lifts_it() -> None:
    later = season(*COTTON, ("first_bloom = 2026-04-01", "first_bloom = 2026-04-08"))
    assert sum(rate > 0 for rate in later.blocks["north"].plan.rates_lb_ac) == 8
    lifted = season(*COTTON, ("[[products]]", "[policy]\nstop_after_week = 20\n[[products]]"))
    assert all(lifted.blocks["north"].plan.rates_lb_ac)


def test_a_published_amount_is_set_in_the_seasons_own_unit() -> None:
    metric = (('name = "Invented"', 'name = "Invented"\nunits = "metric"'), ("rate = 14", "rate = 12"))
    file = season(
        *metric, ("[[products]]", "[policy]\ncorrective_most = { value = 15, reason = 'ours' }\n[[products]]")
    )
    assert file.policy.corrective_most is not None
    assert file.policy.corrective_most.value == pytest.approx(15 / KG_HA_PER_LB_AC)
    assert "[policy] corrective_most is read as 15 kg N/ha, 13.38 lb N/ac." in file.notes


def test_a_plan_that_stops_is_held_against_the_cap_as_it_is_fed() -> None:
    """Thirteen weeks of 14 would pass 120; the seven that are fed come to 98."""
    file = season(*COTTON, ("ceiling = 20\n", "ceiling = 20\nseason_cap = 120\n"))
    assert not any("season cap" in note for note in file.notes)


def test_a_decided_rate_ends_where_the_plan_feeds_nothing() -> None:
    week = season(*COTTON).blocks["north"].plan.weeks[8]
    decided = Change(date(2026, 3, 20), date(2026, 3, 23), date(2026, 6, 1), 1.5, {week.number: 21.0}, 1)
    assert RatePath([decided]).rate_lb_ac(week) == 0.0
    assert RatePath([decided]).rate_lb_ac(week._replace(rate_lb_ac=14.0)) == 21.0


def test_metric_bounds_are_asked_for_in_metric_units() -> None:
    told = faults(
        ('name = "Invented"', 'name = "Invented"\nunits = "metric"'),
        ('region = "Florida"', 'region = "Florida"\nrules = "general"'),
    )
    assert UnitSystem.METRIC.rate_unit in told[0].message
