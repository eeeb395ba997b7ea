"""A grower's decision on an advice, and what is kept with it."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fertadjust.deciding import Choice, basis_of, decision_content, season_of_basis
from fertadjust.errors import OtherForm, UserError
from fertadjust.rules.facts import Action
from fertadjust.rules.policy import digest
from fertadjust.season import BlockSeason
from fertadjust.season_file import parse_season
from fertadjust.shipped import folder
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem
from tests.support import day_in, plan, result, season

ON = day_in(4)
"""A Monday, the first day of week 4; the result of week 3 is known."""


def low() -> BlockSeason:
    return season(result(2300.0, week=3))


def content(
    block: BlockSeason,
    choice: Choice,
    own: float | None = None,
    reason: str = "",
    on: date = ON,
    units: UnitSystem = UnitSystem.US,
) -> dict[str, Any]:
    return decision_content(block, block.advice(on), choice, own, reason, "ann", units, {"up_to": 7})


def told(*given: Any, **more: Any) -> str:
    with pytest.raises(UserError) as caught:
        content(*given, **more)
    return str(caught.value)


def test_accepting_keeps_the_advised_rates() -> None:
    block = low()
    advice = block.advice(ON).recommendation
    assert advice.action is Action.RAISE
    data = content(block, "accept", reason="  ")
    weeks = [str(week.number) for week in advice.weeks]
    assert data["rates_lb_ac"] == dict(zip(weeks, advice.rates_lb_ac, strict=True))
    assert (data["choice"], data["by"], data["reason"]) == ("accept", "ann", "")
    assert data["factor"] == advice.factor
    assert data["effective"] == advice.weeks[0].start.isoformat() == "2026-03-23"
    assert data["review"] == advice.review.isoformat()
    assert data["basis"] == {"up_to": 7}
    assert data["advice"]["action"] == "raise"


def test_what_is_kept_can_be_written_down() -> None:
    for choice, own, reason in (("accept", None, ""), ("change", 6.0, "x"), ("leave", None, "x")):
        data = content(low(), choice, own, reason)  # type: ignore[arg-type]
        assert json.loads(json.dumps(data, allow_nan=False)) == data


def test_another_rate_holds_for_every_week_until_the_review() -> None:
    data = content(low(), "change", 6.0, " light crop ")
    accepted = content(low(), "accept")
    assert set(data["rates_lb_ac"]) == set(accepted["rates_lb_ac"])
    assert set(data["rates_lb_ac"].values()) == {6.0}
    assert data["factor"] == pytest.approx(6.0 / 5.25)
    assert data["reason"] == "light crop"
    assert data["advice"] == accepted["advice"]


def test_leaving_keeps_no_rate_and_the_standing_factor() -> None:
    data = content(low(), "leave", reason="rain is coming")
    assert (data["rates_lb_ac"], data["factor"]) == ({}, 1.0)
    assert data["advice"]["action"] == "raise"


def test_a_rate_at_a_bound_is_within_it() -> None:
    for rate in (3.0, 7.0):
        assert set(content(low(), "change", rate, "x")["rates_lb_ac"].values()) == {rate}


@pytest.mark.parametrize("rate", [2.99, 7.01, 0.0, -1.0, float("nan"), float("inf")])
def test_a_rate_outside_the_bounds_is_refused_with_the_bounds(rate: float) -> None:
    message = told(low(), "change", rate, "x")
    assert message.startswith("rate: ")
    assert "is outside the bounds of 3.00 to 7.00 lb N/ac/week" in message
    assert "if they are wrong, change [bounds] in season.toml" in message


def test_bounds_are_told_in_the_seasons_unit() -> None:
    message = told(low(), "change", 10 / KG_HA_PER_LB_AC, "x", units=UnitSystem.METRIC)
    assert "10.00 is outside the bounds of 3.36 to 7.85 kg N/ha/week" in message


def test_a_rate_past_the_season_cap_is_refused_with_what_is_left() -> None:
    block = season(result(2300.0, week=3), the_plan=plan(cap=25.75))
    left = 25.75 - 3 * 5.25
    weeks = len(block.advice(ON).recommendation.weeks)
    assert weeks == 2
    assert f"pass the season cap, which leaves {left:.2f} lb N/ac" in told(block, "change", left / 2 + 0.01, "x")
    assert content(block, "change", left / 2, "x")["rates_lb_ac"] == {"4": left / 2, "5": left / 2}


@pytest.mark.parametrize(
    ("choice", "own", "reason", "message"),
    [
        ("change", 6.0, "", 'reason: "change" needs a reason'),
        ("change", 6.0, " \n", 'reason: "change" needs a reason'),
        ("leave", None, "", 'reason: "leave" needs a reason'),
        ("change", None, "x", 'rate: a rate goes with "change", and "change" needs one'),
        ("accept", 6.0, "x", 'rate: a rate goes with "change", and "change" needs one'),
        ("leave", 6.0, "x", 'rate: a rate goes with "change", and "change" needs one'),
    ],
)
def test_a_choice_goes_with_its_rate_and_reason(
    choice: Choice, own: float | None, reason: str, message: str
) -> None:
    assert told(low(), choice, own, reason) == message


def test_when_the_plan_is_over_only_leaving_is_left() -> None:
    block = low()
    over = day_in(13)
    for choice, own in (("accept", None), ("change", 6.0)):
        assert told(block, choice, own, "x", on=over) == (
            f"no week of the plan begins on {over} or later, so there is nothing to change"
        )
    data = content(block, "leave", reason="the season is over", on=over)
    assert (data["rates_lb_ac"], data["effective"]) == ({}, over.isoformat())


def test_a_rate_for_weeks_planned_without_feed_has_no_factor_of_its_own() -> None:
    block = season(result(2300.0, week=3), the_plan=plan((5.25,) * 3 + (0.0,) * 9))
    assert content(block, "change", 4.0, "feed on")["factor"] == 1.0


# --- all that an advice was made from -----------------------------------------------------------------------


def test_what_an_advice_was_made_from_gives_the_season_back(tmp_path: Path) -> None:
    text = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
    text += "\n[policy.confidence]\nvalue = 0.9\nreason = 'careful'\n"
    file = parse_season(text, tmp_path)
    basis = basis_of(file.blocks["creek"], file.text, 12, "fertadjust 0.1.0")
    assert (basis["up_to"], basis["season"], basis["program"]) == (12, text, "fertadjust 0.1.0")
    written = json.loads(json.dumps(basis, allow_nan=False))
    again = season_of_basis(written, tmp_path)
    assert again == file


def test_what_an_advice_was_made_from_is_sealed(tmp_path: Path) -> None:
    block = low()
    basis = basis_of(block, "", 1, "")
    written = json.loads(json.dumps(basis))
    assert list(basis["tables"]) == [table.id for table in block.tables]
    assert digest(written["tables"]) == basis["tables_sha256"]
    assert digest(written["policy"]) == basis["policy_sha256"] == block.policy.digest()


def test_a_season_file_that_would_no_longer_pass_is_told(tmp_path: Path) -> None:
    text = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
    file = parse_season(text, tmp_path)
    basis = basis_of(file.blocks["creek"], text.replace("schema = 1", "schema = 9"), 1, "")
    with pytest.raises(UserError, match="schema"):
        season_of_basis(basis, tmp_path)


@pytest.mark.parametrize(
    "change", [{"sap_meter": None}, {"cells": []}, {"cross_check": {"low": "full"}}, {"schema": 2}]
)
def test_rules_of_another_form_are_told_with_the_version_that_wrote_them(
    tmp_path: Path, change: dict[str, Any]
) -> None:
    text = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
    file = parse_season(text, tmp_path)
    basis = basis_of(file.blocks["creek"], text, 12, "fertadjust 0.1.0")
    policy = {key: value for key, value in (basis["policy"] | change).items() if value is not None}
    assert policy != basis["policy"]
    with pytest.raises(OtherForm) as caught:
        season_of_basis(basis | {"policy": policy}, tmp_path)
    assert isinstance(caught.value, UserError)
    assert str(caught.value) == (
        "the decision was made with fertadjust 0.1.0, whose rules or band tables had another form; what it stored "
        "stands, and that version can derive it again"
    )
    assert season_of_basis(basis, tmp_path) == file


def test_a_band_table_of_another_form_is_told_too(tmp_path: Path) -> None:
    text = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
    basis = basis_of(parse_season(text, tmp_path).blocks["creek"], text, 12, "fertadjust 0.1.0")
    tables = {key: table | {"axis": "fortnights"} for key, table in basis["tables"].items()}
    with pytest.raises(OtherForm, match=r"fertadjust 0\.1\.0, whose rules or band tables had another form"):
        season_of_basis(basis | {"tables": tables}, tmp_path)
