"""What a season file may say about feeding, piece by piece: products, mixes, tanks, zones, credits, rows."""

from __future__ import annotations

import re
from typing import Any

import pytest
from pydantic import ValidationError

from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.feeding_model import CreditIn, CreditKind, InjectionIn, MixIn, ProductIn, ZoneIn
from fertadjust.season_model import BlockIn
from fertadjust.strict import Strict

LABEL: dict[str, Any] = {"name": "our nitrate", "grade": "15.5-0-0"}
BED: dict[str, Any] = {"bed_top_width": 2.5, "bed_spacing": 5, "area_basis": "bed"}


def refusal(model: type[Strict], given: dict[str, Any]) -> str:
    """The one thing that is wrong with a piece: its place and what is said."""
    with pytest.raises(ValidationError) as caught:
        model.model_validate(given)
    [detail] = caught.value.errors()
    place = ".".join(str(part) for part in detail["loc"])
    return f"{place}: {detail['msg'].removeprefix('Value error, ')}"


# --- products -----------------------------------------------------------------------------------------------


def test_a_product_may_be_a_material_alone() -> None:
    item = ProductIn.model_validate({"material": "epsom"})
    assert (item.name, item.grade, item.share, item.rate) == ("", None, 0.0, None)
    assert item.percent == {"n": 0.0}


def test_a_label_names_what_it_holds_and_nitrogen_always() -> None:
    item = ProductIn.model_validate({"name": "PK", "grade": "0-52-34", "mg": 1, "s": 0})
    assert item.percent == {"n": 0.0, "p2o5": 52.0, "k2o": 34.0, "mg": 1.0}


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"grade": "15.5-0"}, 'grade: "15.5-0" should be N-P2O5-K2O in percent, such as 13-0-45'),
        ({"grade": "a-b-c"}, 'grade: "a-b-c" should be N-P2O5-K2O in percent, such as 13-0-45'),
        ({"grade": "13-0-101"}, 'grade: "13-0-101" should be N-P2O5-K2O in percent, such as 13-0-45'),
        ({"grade": "50-30-30"}, "grade: 50-30-30 adds up to 110 %, above 100 %"),
        ({"ca": 90}, ": the label adds up to 105.5 %, above 100 %"),
        ({"name": ""}, ": give name and grade from the label, or name a material: fertadjust materials list"),
        ({"liquid": True}, ": a liquid needs its density from the label, to measure it by volume"),
        ({"liquid": False, "density": 12.6}, ": density goes with a liquid"),
        (
            {"density": 12.6, "solubility": 3},
            ": solubility goes with a dry product; a liquid is dissolved already",
        ),
        (
            {"price": 20},
            ": price is that of one bag or jug: give package, its weight (a liquid's volume)",
        ),
        (
            {"share": 0.5, "rate": 4},
            ": give share (of the nitrogen) or rate (of the product), one of the two",
        ),
        ({"rate": 4}, ": 15.5-0-0 holds nitrogen: give its share of it, not a rate"),
        ({"grade": "0-0-50", "share": 0.5}, ": 0-0-50 holds no nitrogen and cannot have a share of it"),
        ({"nitrate_n": 16}, ": nitrate_n 16 % is above the total N of 15.5 %"),
        (
            {"nitrate_n": 14.5, "ammonium_n": 2},
            ": the forms of nitrogen add up to 16.5 %, above the total N of 15.5 %",
        ),
        (
            {"nitrate_n": 14, "ammonium_n": 1, "urea_n": 0},
            ": the forms of nitrogen add up to 15 %, the total N is 15.5 %",
        ),
    ],
)
def test_a_product_that_can_not_be_is_refused(more: dict[str, Any], told: str) -> None:
    assert refusal(ProductIn, LABEL | more) == told


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("share", 1.01),
        ("share", -0.1),
        ("share", "0.5"),
        ("rate", 0),
        ("ca", 101),
        ("ca", float("nan")),
        ("density", 0),
        ("solubility", -1),
        ("package", 0),
        ("price", -1),
        ("on_hand", -1),
        ("on_hand", float("inf")),
        ("tank", "C"),
        ("bags", 3),
    ],
)
def test_a_figure_of_a_product_out_of_its_range_is_refused_at_its_key(key: str, value: object) -> None:
    assert refusal(ProductIn, LABEL | {"package": 50, key: value}).startswith(f"{key}: ")


@pytest.mark.parametrize("given", [{}, {"name": "our nitrate"}, {"grade": "15.5-0-0"}])
def test_a_product_of_nothing_known_is_refused(given: dict[str, Any]) -> None:
    told = ": give name and grade from the label, or name a material: fertadjust materials list"
    assert refusal(ProductIn, given) == told


def test_forms_may_leave_some_nitrogen_unsaid_but_not_when_all_are_given() -> None:
    assert ProductIn.model_validate(LABEL | {"nitrate_n": 14.5}).ammonium_n is None
    whole = ProductIn.model_validate(LABEL | {"nitrate_n": 14.5, "ammonium_n": 1, "urea_n": 0})
    assert whole.urea_n == 0


# --- mixes --------------------------------------------------------------------------------------------------

HALVES = {"a": 0.5, "b": 0.5}


def test_a_mix_takes_one_turn_or_several() -> None:
    assert MixIn.model_validate({"week": 1, "shares": HALVES}).turns == [HALVES]
    in_turn = MixIn.model_validate({"stage": "fruit_set", "in_turn": [{"a": 1.0}, {"b": 1.0}]})
    assert in_turn.turns == [{"a": 1.0}, {"b": 1.0}]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"shares": HALVES}, ": give week or stage, from which on the mix feeds; one of the two"),
        (
            {"week": 1, "stage": "fruit_set", "shares": HALVES},
            ": give week or stage, from which on the mix feeds; one of the two",
        ),
        ({"week": 1}, ": give shares for the same mix every week, or in_turn for mixes that alternate"),
        (
            {"week": 1, "shares": HALVES, "in_turn": [HALVES]},
            ": give shares for the same mix every week, or in_turn for mixes that alternate",
        ),
        (
            {"week": 1, "shares": {"a": 0.5, "b": 0.4}},
            "shares: the shares of nitrogen add up to 0.9; they should add up to 1",
        ),
        (
            {"week": 1, "in_turn": [{"a": 1.0}, {"a": 0.7, "b": 0.7}]},
            "in_turn.1: the shares of nitrogen add up to 1.4; they should add up to 1",
        ),
    ],
)
def test_a_mix_that_can_not_be_is_refused(given: dict[str, Any], told: str) -> None:
    assert refusal(MixIn, given) == told


@pytest.mark.parametrize("given", [{"week": 0}, {"week": 1.5}, {"week": 1, "rates": {"c": 0}}])
def test_a_figure_of_a_mix_out_of_its_range_is_refused_at_its_key(given: dict[str, Any]) -> None:
    key = list(given)[-1]
    assert refusal(MixIn, given | {"shares": HALVES}).startswith(key)


def test_shares_may_be_off_by_what_adding_up_leaves() -> None:
    thirds = dict.fromkeys("abc", 1 / 3)
    assert MixIn.model_validate({"week": 1, "shares": thirds}).shares == thirds
    assert "add up to" in refusal(MixIn, {"week": 1, "shares": dict.fromkeys("abc", 0.3333)})


# --- injection ----------------------------------------------------------------------------------------------


def test_injection_left_out_takes_two_tanks_and_four_fifths_of_what_dissolves() -> None:
    given = InjectionIn()
    assert (given.tanks, given.solubility_share, given.water_temperature, given.days) == (2, 0.8, None, [])


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (
            {"pump_rate": 20, "ratio": 100},
            ": give pump_rate for a metering pump, or ratio for a proportional injector; not both",
        ),
        ({"days": ["Mon", "Thu", "Mon"]}, ": a day stands twice"),
    ],
)
def test_an_injection_that_can_not_be_is_refused(given: dict[str, Any], told: str) -> None:
    assert refusal(InjectionIn, given) == told


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("solubility_share", 0),
        ("solubility_share", 1.01),
        ("tanks", 0),
        ("tanks", 3),
        ("tank", 0),
        ("pump_rate", 0),
        ("ratio", 1),
        ("ratio", 10_001),
        ("pressure_minutes", 0),
        ("travel_minutes", 1441),
        ("inject_minutes", -1),
        ("flush_minutes", "20"),
        ("water_temperature", float("nan")),
        ("days", ["Monday"]),
        ("pump", 20),
    ],
)
def test_a_figure_of_the_injection_out_of_its_range_is_refused_at_its_key(key: str, value: object) -> None:
    assert re.match(rf"{key}(\.0)?: ", refusal(InjectionIn, {key: value}))


@pytest.mark.parametrize("given", [{"solubility_share": 1.0}, {"solubility_share": 0.01}, {"ratio": 10_000.0}])
def test_the_ends_of_a_range_are_taken(given: dict[str, float]) -> None:
    [(key, value)] = given.items()
    assert getattr(InjectionIn.model_validate(given), key) == value


# --- zones --------------------------------------------------------------------------------------------------


def test_a_zone_waters_whole_blocks_and_parts_of_others() -> None:
    zone = ZoneIn.model_validate({"blocks": ["a", "b"], "parts": {"c": 0.25}})
    assert zone.waters == {"a": 1.0, "b": 1.0, "c": 0.25}


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({}, ": name the blocks it waters, or parts of blocks such as parts = { north = 0.5 }"),
        ({"blocks": ["a", "a"]}, ": a block stands twice"),
        ({"blocks": ["a"], "parts": {"a": 0.5}}, ": a block stands twice"),
        ({"parts": {"a": 0}}, ": the part of a block should be above 0"),
    ],
)
def test_a_zone_that_can_not_be_is_refused(given: dict[str, Any], told: str) -> None:
    assert refusal(ZoneIn, given) == told


@pytest.mark.parametrize(("key", "value"), [("flow", 0), ("set_minutes", 0), ("travel_minutes", 2000)])
def test_a_figure_of_a_zone_out_of_its_range_is_refused_at_its_key(key: str, value: float) -> None:
    assert refusal(ZoneIn, {"blocks": ["a"], key: value}).startswith(f"{key}: ")


# --- credits ------------------------------------------------------------------------------------------------

COMPLETE: dict[CreditKind, dict[str, Any]] = {
    CreditKind.STATED: {"n": 60},
    CreditKind.WATER: {"ppm": 12, "depth": 10},
    CreditKind.COVER_CROP: {"n_percent": 2.5, "dry_matter": 2},
    CreditKind.COMPOST: {"n_percent": 1.5, "spread": 4, "compost": "manure"},
    CreditKind.SOIL: {"ppm": 20},
}
FIGURES: dict[str, Any] = {
    "n": 1, "ppm": 1, "form": "NO3", "depth": 1, "n_percent": 1, "dry_matter": 1, "spread": 1, "first_year": 0.5,
    "compost": "manure",
}  # fmt: skip
TAKEN: dict[CreditKind, set[str]] = {
    CreditKind.STATED: {"n"},
    CreditKind.WATER: {"ppm", "depth", "form"},
    CreditKind.COVER_CROP: {"n_percent", "dry_matter"},
    CreditKind.COMPOST: {"n_percent", "spread", "first_year", "compost"},
    CreditKind.SOIL: {"ppm", "form", "depth"},
}


def credit(kind: CreditKind, **changes: Any) -> dict[str, Any]:
    """A credit of a kind as a file gives it; a figure changed to None is left out."""
    given = {"name": "x", "kind": kind.value} | COMPLETE[kind] | changes
    return {key: value for key, value in given.items() if value is not None}


@pytest.mark.parametrize("kind", CreditKind)
def test_every_kind_of_credit_is_taken_with_its_figures(kind: CreditKind) -> None:
    item = CreditIn.model_validate(credit(kind))
    assert (item.kind, item.reduces, item.source, item.evidence) == (kind, "cap", NO_SOURCE, Evidence.OWN)


@pytest.mark.parametrize("kind", CreditKind)
def test_a_credit_without_one_of_its_figures_is_refused_with_those_it_needs(kind: CreditKind) -> None:
    needed = [key for key in COMPLETE[kind] if key != "compost"]
    for key in needed:
        told = refusal(CreditIn, credit(kind, **{key: None}))
        assert told == f': {key} is missing; a credit of kind "{kind.value}" needs {", ".join(needed)}'


@pytest.mark.parametrize("kind", CreditKind)
def test_a_figure_of_another_kind_of_credit_is_refused_with_those_it_takes(kind: CreditKind) -> None:
    for key in FIGURES.keys() - TAKEN[kind]:
        told = refusal(CreditIn, credit(kind, **{key: FIGURES[key]}))
        head, _, known = told.partition(", which takes ")
        assert head == f': {key} does not belong to kind "{kind.value}"'
        assert set(known.split(", ")) == TAKEN[kind]


@pytest.mark.parametrize(
    "changes", [{"compost": None}, {"first_year": 0.2}], ids=["neither share nor kind", "both share and kind"]
)
def test_compost_needs_its_share_or_its_kind(changes: dict[str, Any]) -> None:
    told = ": give first_year, the share released in the first year, or compost, its kind"
    assert refusal(CreditIn, credit(CreditKind.COMPOST, **changes)) == told


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (
            {"weeks": [1, 4]},
            ': weeks goes with reduces = "plan": the weeks whose planned nitrogen is lowered',
        ),
        (
            {"reduces": "plan", "weeks": [4, 1]},
            ": weeks should be the first and the last one, such as [3, 12]",
        ),
        (
            {"reduces": "plan", "weeks": [0, 4]},
            ": weeks should be the first and the last one, such as [3, 12]",
        ),
    ],
)
def test_weeks_of_a_credit_that_can_not_be_are_refused(changes: dict[str, Any], told: str) -> None:
    assert refusal(CreditIn, credit(CreditKind.STATED, **changes)) == told


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        (CreditKind.STATED, "n", -1),
        (CreditKind.STATED, "name", " "),
        (CreditKind.STATED, "reduces", "both"),
        (CreditKind.STATED, "evidence", "hearsay"),
        (CreditKind.WATER, "ppm", -1),
        (CreditKind.WATER, "depth", 0),
        (CreditKind.WATER, "form", "N"),
        (CreditKind.COVER_CROP, "n_percent", 101),
        (CreditKind.COMPOST, "compost", "straw"),
        (CreditKind.COMPOST, "first_year", 1.5),
    ],
)
def test_a_figure_of_a_credit_out_of_its_range_is_refused_at_its_key(
    kind: CreditKind, key: str, value: object
) -> None:
    assert refusal(CreditIn, credit(kind, **{key: value})).startswith(f"{key}: ")


def test_a_kind_of_credit_that_is_none_is_refused_at_its_key() -> None:
    assert refusal(CreditIn, {"name": "x", "kind": "rain", "n": 1}).startswith("kind: ")


@pytest.mark.parametrize("weeks", [[3], [3, 4, 5], []])
def test_weeks_of_a_credit_are_two(weeks: list[int]) -> None:
    assert refusal(CreditIn, credit(CreditKind.STATED, reduces="plan", weeks=weeks)).startswith("weeks: ")


# --- rows of unequal length ---------------------------------------------------------------------------------


def test_rows_of_unequal_length_count_with_their_mean() -> None:
    block = BlockIn.model_validate(BED | {"row_lengths": [280, 300, 314.5]})
    assert block.row_count == 3
    assert block.mean_length * block.row_count == pytest.approx(280 + 300 + 314.5)


def test_rows_of_unequal_length_may_be_counted_beside() -> None:
    assert BlockIn.model_validate(BED | {"row_lengths": [280, 300], "rows": 2}).row_count == 2


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (
            {"row_lengths": [280, 300], "row_length": 290},
            ": row_lengths lists 2 rows; leave row_length and rows out beside it",
        ),
        (
            {"row_lengths": [280, 300], "rows": 3},
            ": row_lengths lists 2 rows; leave row_length and rows out beside it",
        ),
        ({"rows": 3}, ": give row_length and rows, or row_lengths with one length for each row"),
        ({"row_length": 300}, ": give row_length and rows, or row_lengths with one length for each row"),
        ({}, ": give row_length and rows, or row_lengths with one length for each row"),
    ],
)
def test_rows_that_can_not_be_are_refused(given: dict[str, Any], told: str) -> None:
    assert refusal(BlockIn, BED | given) == told


def test_a_row_without_length_is_refused_at_its_place() -> None:
    assert refusal(BlockIn, BED | {"row_lengths": [280, 0]}).startswith("row_lengths.1: ")
