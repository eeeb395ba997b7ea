"""The policies of crops against a second transcription of what their sources say.

Everything below was written from the sources' figures, not from the policy files. Rates are in lb N per acre.
"""

from __future__ import annotations

import re

import pytest

from fertadjust.evidence import Evidence, split_sources
from fertadjust.field import AreaBasis
from fertadjust.rules.policy import ANY, Figure, Policy
from fertadjust.rules.published import Schedule, Statement, Total
from fertadjust.shipped import citations, shipped_policies, shipped_policy, shipped_tables
from fertadjust.stages import stage_words
from fertadjust.tissue import Tissue
from fertadjust.units import UnitSystem

KG_HA_PER_LB_AC = 0.45359237 / 0.40468564224
POLICIES = sorted(shipped_policies())
SAID = [name for name in POLICIES if shipped_policy(name).published is not None]

PUBLISHED, RECALLED, DERIVED = Evidence.PUBLISHED, Evidence.RECALLED, Evidence.DERIVED
SUPPLEMENT = "UF-HS906; UF-VPH"
BY_DRIP = [
    *("florida-drip", "florida-watermelon", "florida-tomato", "florida-pepper", "florida-eggplant"),
    *("florida-cucumber", "florida-squash", "florida-muskmelon", "florida-broccoli", "florida-strawberry"),
]


def figure(policy: str, name: str) -> Figure:
    found = getattr(shipped_policy(policy), name)
    assert isinstance(found, Figure)
    return found


def schedules(policy: str) -> tuple[Schedule, ...]:
    published = shipped_policy(policy).published
    assert published is not None
    return published.schedules


def statements(policy: str) -> dict[str, Statement]:
    published = shipped_policy(policy).published
    assert published is not None
    assert len({item.id for item in published.statements}) == len(published.statements)
    return {item.id: item for item in published.statements}


def totals(policy: str) -> dict[str, Total]:
    published = shipped_policy(policy).published
    return {} if published is None else {item.id: item for item in published.totals}


# --- schedules -----------------------------------------------------------------------------------------------

FIRST = {
    # UF-VPH, net linear-bed acre at 6 ft: (first week, last week, lb/ac/day); confidence; sum of the season
    "florida-tomato": ([(1, 2, 1.5), (3, 4, 2.0), (5, 11, 2.5), (12, 12, 2.0), (13, 13, 1.5)], "high", 196.0),
    "florida-pepper": ([(1, 2, 1.5), (3, 4, 2.0), (5, 11, 2.5), (12, 12, 2.0), (13, 13, 1.5)], "medium", 196.0),
    "florida-eggplant": ([(1, 2, 1.5), (3, 4, 2.0), (5, 10, 2.5), (11, 13, 2.0)], "medium", 196.0),
}
FIRST_IDS = {
    "florida-tomato": ["X41-01", "X41-02", "X41-03", "X41-04", "X41-05"],
    "florida-pepper": ["X41-06", "X41-07", "X41-08", "X41-09", "X41-10"],
    "florida-eggplant": ["X41-11", "X41-12", "X41-13", "X41-14"],
}
OLDER = {
    # UF-CIR1181, given as (how many weeks, lb/ac/day) in sequence from the start of injection
    "florida-tomato": [(2, 1.0), (3, 1.5), (7, 2.0), (1, 1.5)],
    "florida-cucumber": [(1, 1.0), (2, 1.5), (6, 2.0), (1, 1.5)],
    "florida-eggplant": [(2, 1.0), (2, 1.5), (6, 2.0), (3, 1.5)],
    "florida-squash": [(2, 1.0), (2, 1.5), (2, 2.0), (1, 1.5)],
    "florida-muskmelon": [(2, 1.0), (3, 1.5), (3, 2.0), (2, 1.5)],
}
OLDER_IDS = {
    "florida-tomato": ["X41B-01", "X41B-02", "X41B-03", "X41B-04"],
    "florida-cucumber": ["X41B-05", "X41B-06", "X41B-07", "X41B-08"],
    "florida-eggplant": ["X41B-09", "X41B-10", "X41B-11", "X41B-12"],
    "florida-squash": ["X41B-13", "X41B-14", "X41B-15", "X41B-16"],
    "florida-muskmelon": ["X41B-17", "X41B-18", "X41B-19", "X41B-20"],
}


@pytest.mark.parametrize("name", FIRST)
def test_the_injection_schedule_is_that_of_the_handbook_of_florida(name: str) -> None:
    """UF-VPH, recalled: daily rates by weeks after transplanting, net linear-bed acre, beds 6 ft apart."""
    rows, confidence, whole = FIRST[name]
    found = schedules(name)[0]
    assert [(*step.weeks, step.rate) for step in found.steps] == rows
    assert [step.id for step in found.steps] == FIRST_IDS[name]
    assert {(step.source, step.evidence, step.confidence) for step in found.steps} == {
        ("UF-VPH", RECALLED, confidence)
    }
    assert (found.anchor, found.basis, found.spacing_ft) == ("transplanting", AreaBasis.LINEAR_BED, 6.0)
    assert sum(7 * (last - first + 1) * rate for first, last, rate in rows) == whole
    assert sum(found.weekly_lb_ac()) == pytest.approx(whole)


@pytest.mark.parametrize("name", OLDER)
def test_the_older_schedule_runs_in_sequence_from_the_start_of_injection(name: str) -> None:
    """UF-CIR1181, recalled with medium confidence. What its acre means is not at hand."""
    found = schedules(name)[-1]
    assert [(last - first + 1, step.rate) for step in found.steps for first, last in [step.weeks]] == OLDER[name]
    assert [step.id for step in found.steps] == OLDER_IDS[name]
    assert {(step.source, step.evidence, step.confidence) for step in found.steps} == {
        ("UF-CIR1181", RECALLED, "medium")
    }
    assert found.basis is None and found.spacing_ft is None
    for step, (count, rate) in zip(found.steps, OLDER[name], strict=True):
        weeks = "week" if count == 1 else "weeks"
        assert step.note.startswith(f"given as {count} {weeks} at {rate:.1f} lb N/ac/day")
        assert "from the start of injection" in step.note


def test_no_other_policy_has_a_schedule() -> None:
    with_one = {name for name in SAID if schedules(name)}
    assert with_one == {*FIRST, *OLDER}
    assert {name: len(schedules(name)) for name in with_one} == {
        "florida-tomato": 2,
        "florida-eggplant": 2,
        "florida-pepper": 1,
        "florida-cucumber": 1,
        "florida-squash": 1,
        "florida-muskmelon": 1,
    }


@pytest.mark.parametrize("name", [*FIRST, *OLDER])
def test_a_week_of_a_schedule_is_seven_days_of_it(name: str) -> None:
    for found in schedules(name):
        weekly = found.weekly_lb_ac()
        for step in found.steps:
            first, last = step.weeks
            assert set(weekly[first - 1 : last]) == {7 * step.rate}
        assert len(weekly) == found.steps[-1].weeks[1]


# --- totals --------------------------------------------------------------------------------------------------

TOTALS = {
    "florida-tomato": {
        "X41-18": ("season", 200, 200, "UF-CV236", PUBLISHED, None),
        "X41-15": ("preplant", 0, 50, "UF-VPH", RECALLED, "high"),
    },
    "florida-pepper": {
        "X41-19": ("season", 200, 200, "UF-VPH", RECALLED, "medium"),
        "X41-16": ("preplant", 0, 70, "UF-VPH", RECALLED, "medium"),
    },
    "florida-eggplant": {
        "X41-20": ("season", 200, 200, "UF-VPH", RECALLED, "medium"),
        "X41-17": ("preplant", 0, 70, "UF-VPH", RECALLED, "medium"),
    },
    "florida-watermelon": {"X41-21": ("season", 150, 150, "WM-SEEP", PUBLISHED, None)},
    "florida-potato": {"X41-22": ("season", 200, 250, "UF-HS1429", PUBLISHED, None)},
    "florida-strawberry": {
        "S81-18": ("season", 150, 150, "UF-VPH", RECALLED, "medium"),
        "S81-12": ("preplant", 0, 40, "SIMONNE-2001", PUBLISHED, None),
    },
}


@pytest.mark.parametrize("name", POLICIES)
def test_totals_of_a_season_and_before_planting_are_those_of_their_sources(name: str) -> None:
    found = {
        key: (item.when, item.low, item.high, item.source, item.evidence, item.confidence)
        for key, item in totals(name).items()
    }
    assert found == TOTALS.get(name, {})


def test_the_watermelon_total_says_that_more_yielded_more_and_the_potato_one_that_it_goes_by_yield() -> None:
    """WM-SEEP: 265 lb/ac with more P and K yielded 41-50 % more, seepage-irrigated. UF-HS1429: by yield goal."""
    note = totals("florida-watermelon")["X41-21"].note
    assert "265 lb N/ac" in note and "41-50 % more" in note and "seepage" in note and "8 ft" in note
    assert totals("florida-potato")["X41-22"].note == "by yield goal"
    assert "N-P2O5-K2O 200-150-225 in lb/ac" in totals("florida-tomato")["X41-18"].note


# --- what is added on a low result ---------------------------------------------------------------------------

PETIOLE_AND_LEAF = (Tissue.PETIOLE, Tissue.LEAF)
CORRECTIVE = {
    **dict.fromkeys(BY_DRIP, (10.5, 14.0, PETIOLE_AND_LEAF, SUPPLEMENT, RECALLED)),
    "florida-potato": (30, 30, PETIOLE_AND_LEAF, SUPPLEMENT, RECALLED),
    # UDEL-T: watermelon and melons 40; cucumber, squash 20; tomato, pepper 40-60; eggplant 30; white potato 40;
    # cole crops, greens 30-40; sweet corn 40-80
    "mid-atlantic-melons": (40, 40, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-cucumber-squash": (20, 20, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-tomato-pepper": (40, 60, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-eggplant": (30, 30, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-potato": (40, 40, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-cole-crops": (30, 40, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
    "mid-atlantic-sweet-corn": (40, 80, (Tissue.LEAF,), "UDEL-T", PUBLISHED),
}


@pytest.mark.parametrize("name", POLICIES)
def test_the_amount_for_a_low_result_is_that_of_its_source(name: str) -> None:
    policy = shipped_policy(name)
    least, most = policy.corrective_least, policy.corrective_most
    if name not in CORRECTIVE:
        assert least is None and most is None
        return
    assert least is not None and most is not None
    low, high, tissues, source, evidence = CORRECTIVE[name]
    assert (least.value, most.value, policy.corrective_on) == (low, high, tissues)
    assert {(item.source, item.evidence, item.unit) for item in (least, most)} == {
        (source, evidence, "lb N/ac in all")
    }


@pytest.mark.parametrize("name", CORRECTIVE)
def test_the_days_that_an_amount_is_for(name: str) -> None:
    """UF-HS906, recalled: 7 days. One amount in UDEL-T and for seepage: 28 days, the program's own rule."""
    days = figure(name, "corrective_days")
    weekly = name.startswith("florida") and name != "florida-potato"
    assert days.value == (7 if weekly else 28)
    assert days.evidence is (Evidence.RECALLED if weekly else Evidence.PROJECT_RULE)


@pytest.mark.parametrize("name", BY_DRIP)
def test_the_supplement_by_drip_is_a_daily_rate_for_seven_days_and_its_reading_is_told(name: str) -> None:
    """UF-HS906 and UF-VPH, recalled: 1.5 to 2.0 lb N/ac/day for 7 days; on top or instead is not settled."""
    assert figure(name, "corrective_least").value == 7 * 1.5
    assert figure(name, "corrective_most").value == 7 * 2.0
    for which, daily in (("corrective_least", "1.5"), ("corrective_most", "2.0")):
        meaning = figure(name, which).meaning
        assert f"{daily} lb N/ac/day for 7 days" in meaning
        assert "Recalled, high confidence: check it" in meaning
        assert "not settled; read here as on top" in meaning
        assert "in addition to base fertilization" in meaning
    assert figure(name, "sample_days").value == 7
    assert figure(name, "sample_days").evidence is RECALLED


@pytest.mark.parametrize("name", POLICIES)
def test_a_policy_without_an_amount_says_on_which_tissue_it_would_be_only_in_the_mid_atlantic(name: str) -> None:
    policy = shipped_policy(name)
    if name not in CORRECTIVE:
        assert policy.corrective_on == ((Tissue.LEAF,) if name == "mid-atlantic" else ())


# --- bounds --------------------------------------------------------------------------------------------------

BOUNDS = {
    "florida-watermelon": (7 * 0.5, 7 * 2.5, "UF-WARREN", "SCG-HOCH", DERIVED),
    "florida-tomato": (7 * 1.0, 7 * 2.5 + 14, "UF-CIR1181", "UF-VPH; UF-HS906", RECALLED),
    "florida-pepper": (7 * 1.5, 7 * 2.5 + 14, "UF-VPH", "UF-VPH; UF-HS906", RECALLED),
    "florida-eggplant": (7 * 1.0, 7 * 2.5 + 14, "UF-CIR1181", "UF-VPH; UF-HS906", RECALLED),
    "florida-cucumber": (7 * 1.0, 7 * 2.0 + 14, "UF-CIR1181", "UF-CIR1181; UF-HS906; UF-VPH", RECALLED),
    "florida-squash": (7 * 1.0, 7 * 2.0 + 14, "UF-CIR1181", "UF-CIR1181; UF-HS906; UF-VPH", RECALLED),
    "florida-muskmelon": (7 * 1.0, 7 * 2.0 + 14, "UF-CIR1181", "UF-CIR1181; UF-HS906; UF-VPH", RECALLED),
    "florida-strawberry": (7 * 0.3, 7 * 0.75 + 14, "UF-VPH", "UF-VPH; UF-HS906", RECALLED),
    # the spring crop of the Southeast, UGA-2021 and DE-7778: 3 to 7 lb N/ac/week
    "strawberry-annual-plasticulture": (3, 7, "UGA-2021; DE-7778", "UGA-2021; DE-7778", DERIVED),
}


@pytest.mark.parametrize("name", POLICIES)
def test_bounds_come_from_named_rates_and_stand_nowhere_else(name: str) -> None:
    policy = shipped_policy(name)
    if name not in BOUNDS:
        assert policy.floor is None and policy.ceiling is None
        return
    floor, ceiling, floor_source, ceiling_source, evidence = BOUNDS[name]
    assert policy.floor is not None and policy.ceiling is not None
    assert [policy.floor.value, policy.ceiling.value] == pytest.approx([floor, ceiling])
    assert (policy.floor.source, policy.ceiling.source) == (floor_source, ceiling_source)
    assert policy.floor.evidence is policy.ceiling.evidence is evidence
    assert "not a published floor" in policy.floor.meaning
    assert "not a published ceiling" in policy.ceiling.meaning


@pytest.mark.parametrize("name", sorted({*FIRST, *OLDER}))
def test_bounds_of_a_crop_with_schedules_hold_every_rate_of_them_and_the_supplement(name: str) -> None:
    weekly = [rate for found in schedules(name) for rate in found.weekly_lb_ac()]
    assert figure(name, "floor").value == min(weekly)
    assert figure(name, "ceiling").value == max(weekly) + figure(name, "corrective_most").value


# --- cotton and potato ---------------------------------------------------------------------------------------


def test_cotton_gets_no_soil_nitrogen_after_the_third_week_of_bloom() -> None:
    """UGA-COT, published."""
    policy = shipped_policy("georgia-cotton")
    assert policy.late_anchor == "first_bloom"
    for name in ("no_raise_after_week", "stop_after_week"):
        found = figure("georgia-cotton", name)
        assert (found.value, found.source, found.evidence) == (3, "UGA-COT", PUBLISHED)
    said = statements("georgia-cotton")
    assert said["X45-08"].when == "past the last week of feeding"
    stopping = [name for name in POLICIES if shipped_policy(name).stop_after_week is not None]
    assert stopping == ["georgia-cotton"]


def test_potato_soil_nitrate_is_sixty_pounds_in_eighteen_inches() -> None:
    """AGVISE-POTATO: above 60 lb/ac in 0-18 in; PURDUE-SOIL-N: depth in inches / 3 lb/ac for each ppm."""
    found = figure("potato-irrigated", "soil_nitrate_ppm")
    assert found.value == pytest.approx(60 / (18 / 3))
    assert (found.source, found.evidence) == ("AGVISE-POTATO; PURDUE-SOIL-N", DERIVED)
    assert "ammonium as well" in found.meaning and "60 lb/ac in 0-18 in" in found.meaning
    others = {figure(name, "soil_nitrate_ppm").value for name in POLICIES if name != "potato-irrigated"}
    assert others == {20}


def test_uptake_of_potato_in_pounds_is_that_in_kilograms() -> None:
    """WK85: 3.7 kg N/ha/day, 3.3 lb/ac/day; an uptake, not a rate to apply."""
    item = statements("potato-irrigated")["X42-05"]
    assert "3.3 lb N/ac/day (3.7 kg/ha/day)" in item.text
    assert item.note == "an uptake, not a rate to apply"
    assert round(3.7 / KG_HA_PER_LB_AC, 1) == 3.3


# --- statements ----------------------------------------------------------------------------------------------

Backing = tuple[str, Evidence, str | None]
Said = dict[str, tuple[str, Backing, tuple[str, ...]]]
"""Statement id -> occasion, source with evidence and confidence, and what its text has to say."""

RULE: Backing = (SUPPLEMENT, RECALLED, "high")
SUPPLEMENTS: Said = {
    "X43-04": (
        "leaching rain",
        RULE,
        ("3 in (76 mm) or more in 3 days", "4 in (102 mm) or more in 7 days", "30 lb N/ac", "20 lb K2O/ac"),
    ),
    "X43-05": ("always", RULE, ("extended harvest", "1.5 to 2.0 lb N/ac/day")),
    "X43-on-top": ("low", RULE, ("1.5 to 2.0 lb N/ac/day", "for 7 days", "not settled")),
    "X43-conditions": ("low", RULE, ("scheduling method", "not to be applied in advance", "daily or weekly")),
    "high-side": (
        "high",
        ("UMD-WM; UDEL-T", PUBLISHED, None),
        ("No amount to cut is given", "no corrective action"),
    ),
}
MID_ATLANTIC: Said = {
    "X44-09": ("low", ("UDEL-T", PUBLISHED, None), ("1 to 10 lb N/ac", "total salt below 2 %")),
    "X44-10": ("high", ("UDEL-T", PUBLISHED, None), ("no corrective action",)),
}


def published(source: str) -> Backing:
    return source, PUBLISHED, None


def recalled_rate() -> Backing:
    return "UF-VPH", RECALLED, "medium"


STATEMENTS: dict[str, Said] = {
    **{name: dict(SUPPLEMENTS) for name in BY_DRIP if name not in ("florida-watermelon", "florida-strawberry")},
    "florida-watermelon": {
        "X42-01": ("always", published("UF-WARREN"), ("leached by rain", "0.5 to 1.0 lb N/ac/day", "K2O")),
        "X42-02": ("always", published("SCG-HOCH"), ("fruit sizing", "2.0 to 2.5 lb N/ac/day", "net acres")),
        "X42-03": ("always", published("SCI-HOCH"), ("1 week before the last harvest", "2.0 lb N/ac/day")),
        "X42-04": ("always", published("UF-WM23"), ("about 1.5 lb N/ac/day", "about 1 week before the final")),
        "X45-01": ("low", published("UF-WM21"), ("fruit set", "below 300-400 ppm NO3-N")),
        "X45-02": ("always", published("UMD-WM"), ("within its range", "most efficient use")),
        "X45-03": ("high", published("UMD-WM"), ("above its range", "little yield", "no amount to cut is given")),
        "X45-04": ("low", published("UMD-WM"), ("below its range", "yield and quality", "no amount is given")),
        **SUPPLEMENTS,
    },
    "florida-strawberry": {
        "S81-14": ("always", recalled_rate(), ("0.3 lb N/ac/day", "first 2 weeks", "linear-bed acre", "4 ft")),
        "S81-15": ("always", recalled_rate(), ("0.6 lb N/ac/day", "to the end of January")),
        "S81-16": ("always", recalled_rate(), ("0.75 lb N/ac/day", "February and March")),
        "S81-17": ("always", recalled_rate(), ("0.6 lb N/ac/day", "April")),
        "S81-13": ("always", published("SIMONNE-2001"), ("0.75 lb N/ac/day", "February and March", "full")),
        **SUPPLEMENTS,
    },
    "florida-potato": {
        "X43-03": ("low", RULE, ("one application of 30 lb N/ac", "20 lb K2O/ac", "seepage or on bare ground")),
        "X43-04": SUPPLEMENTS["X43-04"],
        "X43-conditions": ("low", RULE, ("scheduling method", "not to be applied in advance", "not settled")),
        "high-side": SUPPLEMENTS["high-side"],
    },
    "mid-atlantic": MID_ATLANTIC,
    "mid-atlantic-melons": {
        "X44-01": ("always", published("UDEL-T"), ("long watermelon harvest", "extra nitrogen")),
        **MID_ATLANTIC,
    },
    "mid-atlantic-cucumber-squash": MID_ATLANTIC,
    "mid-atlantic-tomato-pepper": {
        "X44-03": ("low", published("UDEL-T"), ("calcium nitrate or potassium nitrate", "blossom-end rot")),
        **MID_ATLANTIC,
    },
    "mid-atlantic-eggplant": MID_ATLANTIC,
    "mid-atlantic-potato": {
        "X44-05": ("low", published("UDEL-T"), ("40 lb N/ac", "before tubers start to size")),
        **MID_ATLANTIC,
    },
    "mid-atlantic-cole-crops": MID_ATLANTIC,
    "mid-atlantic-sweet-corn": MID_ATLANTIC,
    "georgia-cotton": {
        "X45-07": ("low", published("UGA-COT"), ("below its range", "in bloom", "4.5 lb N/ac", "foliar urea")),
        "X45-10": (
            "low",
            published("NCDA-COT"),
            ("North Carolina", "recommended rate", "below the adequate level"),
        ),
        "X45-11": ("low", published("BELT-1238"), ("1981-86", "121 lb/ac", "30 lb N/ac", "at planting")),
        "X45-08": ("past the last week of feeding", published("UGA-COT"), ("after the 3rd week of bloom",)),
        "X45-09": ("always", published("UGA-COT"), ("after the 8th week of bloom",)),
        "SERA6-97-weather": ("always", published("SERA6-97"), ("weather, growth stage and other nutrient",)),
        "SERA6-97-region": ("always", published("SERA6-97"), ("Alabama and Florida into Virginia", "Mississippi")),
    },
    "potato-irrigated": {
        "FB-7": (
            "low",
            published("AGVISE-POTATO"),
            ("below 5,000 ppm", "18 in", "60 lb N/ac", "midseason", "40 lb N/ac", "late"),
        ),
        "WK85-soil": ("low", published("WK85"), ("0-46 cm", "above 7.5 mg/kg")),
        "X42-05": ("always", published("WK85"), ("3.3 lb N/ac/day", "0.75 t")),
        "X45-05": (
            "always",
            published("SPUD"),
            ("Canada", "1 August", "9-15 September", "specific gravity", "fry"),
        ),
        "X45-06": ("always", published("SPUD"), ("Canada", "no nitrogen", "nickel to dime")),
        "FB-9": (
            "high",
            published("MAINE91"),
            ("Russet Burbank", "2.2 %", "22,000 ppm", "50 days after planting"),
        ),
        "high-side": ("high", published("UDEL-T"), ("No amount to cut is given", "no corrective action")),
    },
}


@pytest.mark.parametrize("name", POLICIES)
def test_statements_say_what_their_sources_say_on_the_occasions_they_are_for(name: str) -> None:
    if name not in STATEMENTS:
        assert shipped_policy(name).published is None
        return
    found = statements(name)
    assert set(found) == set(STATEMENTS[name])
    for key, (when, backing, words) in STATEMENTS[name].items():
        item = found[key]
        assert item.when == when, key
        assert (item.source, item.evidence, item.confidence) == backing, key
        assert [text for text in words if text not in item.text] == [], key


PAIR = re.compile(
    r"(?P<low>[\d.]+)(?: to (?P<high>[\d.]+))? lb(?: N| K2O)?/ac(?:/day)? "
    r"\((?P<kg_low>[\d.]+)(?: to (?P<kg_high>[\d.]+))? kg/ha"
)


@pytest.mark.parametrize("name", SAID)
def test_every_amount_in_a_text_stands_in_metric_beside_it(name: str) -> None:
    """1 lb/ac is 1.1209 kg/ha; the texts are shown in both unit systems."""
    published_ = shipped_policy(name).published
    assert published_ is not None
    texts = [item.text for item in published_.statements] + [item.note for item in published_.every()]
    for text in texts:
        pairs = list(PAIR.finditer(text))
        assert len(pairs) == len(re.findall(r"\d lb(?: N| K2O)?/ac", text)), text
        for pair in pairs:
            for us, metric in (("low", "kg_low"), ("high", "kg_high")):
                assert (pair[us] is None) == (pair[metric] is None), text
                if pair[us] is not None:
                    shown = pair[metric]
                    digits = len(shown.partition(".")[2])
                    assert float(shown) == pytest.approx(float(pair[us]) * KG_HA_PER_LB_AC, abs=0.5 * 10**-digits)


# --- every policy --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", POLICIES)
def test_every_published_item_shows_a_cited_source_and_its_evidence(name: str) -> None:
    policy = shipped_policy(name)
    for item in policy.published.every() if policy.published is not None else ():
        keys = split_sources(item.source)
        assert keys and set(keys) <= set(citations()), item.id
        assert keys[0] in item.cited and item.evidence.value in item.cited
        assert item.evidence in (PUBLISHED, RECALLED), item.id
        if item.evidence is RECALLED:
            assert f"{item.confidence} confidence" in item.cited


@pytest.mark.parametrize("name", POLICIES)
def test_a_recalled_figure_says_so_in_its_own_words(name: str) -> None:
    policy = shipped_policy(name)
    for key in Policy.model_fields:
        item = getattr(policy, key)
        if isinstance(item, Figure) and item.evidence is RECALLED:
            assert re.search(r"[Rr]ecalled(,| with)", item.meaning), key
            assert re.search(r"(high|medium)( or high)? confidence", item.meaning), key


@pytest.mark.parametrize("name", POLICIES)
def test_no_policy_gives_a_published_number_for_a_cut(name: str) -> None:
    """No source gives one: UMD-WM says only that more is wasteful, UDEL-T that no action is needed."""
    policy = shipped_policy(name)
    for item in (policy.cut_first, policy.cut_largest, policy.cut_largest_at, policy.cut_persistent):
        assert item.evidence is Evidence.PROJECT_RULE
        assert split_sources(item.source) == []
    if policy.published is not None:
        for said in policy.published.statements:
            if re.search(r"\bcut\b", said.text):
                assert re.search(r"[Nn]o amount to cut is given", said.text), said.id


@pytest.mark.parametrize("name", POLICIES)
def test_there_is_a_band_table_for_the_crop_of_every_policy(name: str) -> None:
    policy = shipped_policy(name)
    if policy.crop == ANY:
        assert name in ("general", "florida-drip", "mid-atlantic")
        return
    crops = {crop for table in shipped_tables().values() for crop in table.crops}
    assert policy.crop in crops


SYSTEMS = {
    **dict.fromkeys(BY_DRIP, ("field, drip plasticulture", ("Florida",))),
    "florida-strawberry": ("annual plasticulture, winter crop", ("Florida",)),
    "florida-potato": ("field, seepage or bare ground", ("Florida",)),
    **{name: ("field", ("Delaware", "Mid-Atlantic")) for name in POLICIES if name.startswith("mid-atlantic")},
    "georgia-cotton": ("irrigated field", ("Georgia, Coastal Plain", "Georgia")),
    "potato-irrigated": ("irrigated field", ("Idaho",)),
    "strawberry-annual-plasticulture": ("annual plasticulture", None),
    "general": ("any", None),
}


def test_every_policy_is_of_the_system_and_region_of_its_sources() -> None:
    found = {name: (policy.system, policy.regions) for name, policy in shipped_policies().items()}
    assert found == SYSTEMS


def test_no_two_policies_are_for_one_crop_system_and_region() -> None:
    seen: dict[tuple[str, str, str], str] = {}
    for name, policy in shipped_policies().items():
        for crop in policy.crops if policy.crop != ANY else ():
            for region in policy.regions or ("",):
                key = (crop, policy.system, region)
                assert key not in seen, f"{name} and {seen.get(key)}"
                seen[key] = name


CROPS = {
    "florida-muskmelon": ("muskmelon", "cantaloupe"),
    "florida-broccoli": ("broccoli", "collard"),
    "mid-atlantic-melons": ("watermelon", "muskmelon", "cantaloupe"),
    "mid-atlantic-cucumber-squash": ("cucumber", "squash"),
    "mid-atlantic-tomato-pepper": ("tomato", "pepper"),
    "mid-atlantic-cole-crops": ("broccoli", "collard", "cabbage", "cauliflower", "Brussels sprouts"),
    "mid-atlantic-sweet-corn": ("sweet corn",),
}


@pytest.mark.parametrize("name", CROPS)
def test_a_policy_is_for_the_crops_that_its_source_names(name: str) -> None:
    assert shipped_policy(name).crops == CROPS[name]


@pytest.mark.parametrize("name", SAID)
def test_a_statement_is_a_sentence_without_its_full_stop(name: str) -> None:
    for item in statements(name).values():
        assert item.text[0].isupper() and item.text[-1] not in ".;,", item.id


@pytest.mark.parametrize("name", [*FIRST, *OLDER])
def test_the_stage_that_a_schedule_is_counted_from_has_words(name: str) -> None:
    assert {stage_words(found.anchor) for found in schedules(name)} == {"transplanting"}


def test_the_season_total_of_tomato_in_metric() -> None:
    """UF-CV236: 200 lb/ac is 224 kg/ha; the schedule's 196 lb/ac is 219.7."""
    assert UnitSystem.METRIC.rate_out(200) == pytest.approx(200 * KG_HA_PER_LB_AC)
    assert round(UnitSystem.METRIC.rate_out(sum(schedules("florida-tomato")[0].weekly_lb_ac())), 1) == 219.7
