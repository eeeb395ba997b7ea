"""The cross-check table: every combination of what can be known, through the engine, and the checks on a table."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from functools import cache
from itertools import product
from typing import Any, NamedTuple

import pytest
from pydantic import ValidationError

from fertadjust.evidence import Evidence
from fertadjust.observations import Observation, Sight
from fertadjust.rules.cross_table import (
    Cell,
    CrossCheckRow,
    LeafState,
    PetioleState,
    SeenState,
    SoilState,
    SupplyState,
    cells,
    row_for,
    table_faults,
)
from fertadjust.rules.engine import evaluate
from fertadjust.rules.facts import Action, Facts, Recommendation
from fertadjust.rules.policy import Policy
from tests.rules import (
    ENOUGH,
    HIGH,
    LEAF_ENOUGH,
    LEAF_HIGH,
    LEAF_LOW,
    LEAF_UNCLEAR,
    LOW,
    RATE,
    SATURDAY,
    cut_size,
    fed,
    leaf,
    line,
    names_a_source,
    petiole_season,
    raise_size,
    seen,
    weighed,
)
from tests.support import day_in, policy, result

SAMPLED, AFTER = day_in(6, 2), day_in(6, 3)
"""Day of the sample, and the day after it, on which everything else was seen."""
POLICY = policy()
ROWS = POLICY.cross_check

# --- every cell through the engine --------------------------------------------------------------------------

PETIOLES = {"low": LOW, "sufficient": ENOUGH, "high": HIGH}
LEAVES = {"low": LEAF_LOW, "sufficient": LEAF_ENOUGH, "high": LEAF_HIGH, "unclear": LEAF_UNCLEAR, "none": None}
SOILS = {"above": 32.0, "below": 12.0, "none": None}  # threshold 20 ppm NO3-N (HARTZ-2006; HARTZ-2000)
SUPPLIES = {
    "short": fed(weeks=(1, 2, 3)),
    "full": fed(),
    "over": fed(1.3 * RATE),
    "unknown": (),
}
SIGHTS: dict[str, tuple[Sight, ...]] = {
    "roots": (Sight.WATERLOGGED,),
    "rain": (Sight.LEACHING_RAIN,),
    "nothing": (),
}
EVERY_CELL = list(product(PETIOLES, LEAVES, SOILS, SUPPLIES, SIGHTS))


class Expected(NamedTuple):
    """What agronomy asks for.

    Attributes:
        share: share of the step.
        resample: whether to sample sooner.
        reasons: name of each row that says so, and a word of its reason.
    """

    share: float
    resample: bool
    reasons: dict[str, str]


def agronomy(petiole: str, leaf_state: str, soil: str, supply: str, sight: str) -> Expected:
    """The cross-check in words, written without the table."""
    if petiole == "low":
        return _low(leaf_state, soil, supply, sight)
    if petiole == "high":
        return _high(leaf_state, soil, supply, sight)
    if leaf_state == "low":  # enough on its way up, and the leaf short of it: something else is wrong
        return Expected(0.0, True, {"sufficient-leaf-low": "another cause"})
    if leaf_state in {"sufficient", "high"}:
        word = "agree" if leaf_state == "sufficient" else "earlier plenty"
        return Expected(0.0, False, {f"sufficient-leaf-{leaf_state}": word})
    return Expected(0.0, False, {"sufficient": "in its band"})


def _low(leaf_state: str, soil: str, supply: str, sight: str) -> Expected:
    # three things each forbid a raise, whatever the leaf says; so does a leaf that disagrees and no rain since
    disagree = leaf_state == "high" and sight != "rain"
    forbidding = {
        "low-roots": (sight == "roots", "roots that are in trouble"),
        "low-short": (supply == "short", "plan is restored"),
        "low-soil-above": (soil == "above", "soil holds"),
        "low-leaf-high": (disagree, "disagree"),
    }
    held = {name: word for name, (forbids, word) in forbidding.items() if forbids}
    if held:  # all of them are told, and the disagreement is sampled again whatever else holds the raise
        return Expected(0.0, disagree, held)
    if leaf_state == "high":
        return Expected(0.5, False, {"low-leaf-high-rain": "rain has washed"})
    if leaf_state == "low":
        return Expected(1.0, False, {"low-leaf-low": "both low"})
    if sight == "rain":
        return Expected(1.0, False, {"low-rain": "rain washed"})
    if supply == "over":
        return Expected(0.5, False, {"low-over": "cause is to be found"})
    if leaf_state == "sufficient":
        return Expected(0.5, False, {"low-leaf-sufficient": "leaf still holds enough"})
    return Expected(1.0, False, {f"low-leaf-{leaf_state}": "decides"})


def _high(leaf_state: str, soil: str, supply: str, sight: str) -> Expected:
    if leaf_state == "low":
        return Expected(0.0, True, {"high-leaf-low": "the cause comes first"})
    if soil == "above":
        return Expected(1.0, False, {"high-soil-above": "soil both hold"})
    if sight == "rain":  # after the sample: part of what it showed is gone
        return Expected(0.5, False, {"high-rain": "since the sample"})
    if supply == "short":
        return Expected(1.0, False, {"high-short": "less than planned went out"})
    if supply == "over":
        return Expected(0.5, False, {"high-over": "explains part"})
    if leaf_state == "sufficient":
        return Expected(0.5, False, {"high-leaf-sufficient": "leaf is in its band"})
    word = "both high" if leaf_state == "high" else "decides"
    return Expected(1.0, False, {f"high-leaf-{leaf_state}": word})


def full_step(petiole: str, leaf_state: str) -> float:
    """Full change of the rate by hand; 50 % on low leaf nitrogen beside a low petiole (UGA-AESL)."""
    if petiole == "high":
        return -cut_size(HIGH)
    return 0.50 if leaf_state == "low" else raise_size(LOW)


@cache
def parts(petiole: str) -> tuple[Facts, dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Facts of a season with one petiole result, and what leaves, soil tests and logs would put into them."""

    def facts(*others: Any, **rest: object) -> Facts:
        return petiole_season(result(PETIOLES[petiole], 6), *others, **rest).facts(SATURDAY)

    leaves = {name: facts(*(() if value is None else (leaf(value),))).leaf for name, value in LEAVES.items()}
    soils = {
        name: facts(observations=() if ppm is None else (seen(Sight.SOIL_NITRATE, AFTER, ppm),)).soil_nitrate
        for name, ppm in SOILS.items()
    }
    supplies = {name: facts(applications=log).supply for name, log in SUPPLIES.items()}
    return facts(), leaves, soils, supplies


def facts_of(petiole: str, leaf_state: str, soil: str, supply: str, sight: str, **more: Any) -> Facts:
    base, leaves, soils, supplies = parts(petiole)
    observations: list[Observation] = [seen(item, AFTER) for item in SIGHTS[sight]]
    if SOILS[soil] is not None:
        observations.append(seen(Sight.SOIL_NITRATE, AFTER, SOILS[soil]))
    return replace(
        base,
        leaf=leaves[leaf_state],
        soil_nitrate=soils[soil],
        supply=supplies[supply],
        observations=tuple(observations),
        **more,
    )


def weigh(*cell: str, **more: Any) -> Recommendation:
    return evaluate(facts_of(*cell, **more), POLICY)


def test_the_cells_are_five_hundred_and_forty_and_the_package_counts_the_same_ones() -> None:
    assert len(EVERY_CELL) == len(set(EVERY_CELL)) == 3 * 5 * 3 * 4 * 3 == 540
    assert {tuple(str(state) for state in cell) for cell in cells()} == set(EVERY_CELL)


def test_facts_put_together_from_parts_are_those_of_a_season_that_has_it_all() -> None:
    together = petiole_season(
        result(HIGH, 6),
        leaf(LEAF_ENOUGH),
        applications=SUPPLIES["over"],
        observations=(seen(Sight.LEACHING_RAIN, AFTER), seen(Sight.SOIL_NITRATE, AFTER, 32.0)),
    )
    whole = together.facts(SATURDAY)
    put_together = facts_of("high", "sufficient", "above", "over", "rain")
    for name in ("primary", "leaf", "soil_nitrate", "supply", "observations", "factor", "coming"):
        assert getattr(put_together, name) == getattr(whole, name), name
    assert evaluate(whole, POLICY).factor == pytest.approx(evaluate(put_together, POLICY).factor)


@pytest.mark.parametrize("cell", EVERY_CELL, ids="-".join)
def test_a_cell_takes_the_step_that_agronomy_asks_for(cell: tuple[str, str, str, str, str]) -> None:
    petiole, leaf_state, soil, supply, sight = cell
    share, resample, reasons = agronomy(*cell)
    found = weigh(*cell)

    change = 0.0 if petiole == "sufficient" else share * full_step(petiole, leaf_state)
    assert found.factor == pytest.approx(1 + change)
    assert found.rates_lb_ac == pytest.approx([RATE * (1 + change)] * len(found.weeks)) and found.weeks
    assert found.action is {1: Action.RAISE, 0: Action.HOLD, -1: Action.CUT}[(change > 0) - (change < 0)]
    assert found.next_sample == SAMPLED + timedelta(days=7 if resample else 14)  # NCDA-2023; NCDA-2007
    assert found.moved_by == {1: "raise", 0: "", -1: "cut"}[(change > 0) - (change < 0)]

    trace = line(found, "weighed together")
    assert trace.saw == weighed(petiole, *reasons, leaf_state=leaf_state, soil=soil, supply=supply, sight=sight)
    step = {1.0: "full", 0.5: "half", 0.0: "hold"}[share]
    rows = [row for row in ROWS if row.id in reasons]
    assert rows[0] is POLICY.row_for(as_cell(cell)) and all(row.step == step for row in rows)
    assert resample is any(row.resample for row in rows)
    words = {"full": "a full step", "half": "half a step", "hold": "no step"}[step]
    joined = "; also, ".join(row.reason for row in rows)
    assert trace.why == f"{joined[0].upper()}{joined[1:]}: {words}."
    assert all(word in trace.why.lower() for word in reasons.values())
    keys = dict.fromkeys(key for row in rows for key in row.source.split("; ") if key != "none")
    assert trace.source == ("; ".join(keys) or "none")
    weak_last = ["published", "derived", "recalled", "common practice", "project rule", "own"]
    assert trace.evidence == max((row.evidence.value for row in rows), key=weak_last.index)
    assert names_a_source(trace.source, trace.evidence.value)

    held_back = "hold, sample sooner" if resample else "hold"
    if petiole == "sufficient":
        assert trace.change == (held_back if resample else "")
    else:
        to = {"full": "", "half": "half step", "hold": held_back}[step]
        assert trace.change == (f"full step -> {to}" if to else "")
    assert trace.fired is bool(trace.change)
    for row in ROWS:
        if row.to_do:  # of rows that say the same, one is enough
            same = {other.id for other in ROWS if other.to_do == row.to_do}
            assert (row.to_do in found.to_do) is bool(same & {*reasons})
    if change == 0 and petiole != "sufficient":
        held = line(found, "raise" if petiole == "low" else "cut")
        assert not held.fired and held.saw == "held back by: weighed together"


@pytest.mark.parametrize("cell", [cell for cell in EVERY_CELL if cell[0] != "sufficient"], ids="-".join)
def test_the_step_set_for_a_row_is_the_step_of_its_cells_and_of_no_others(
    cell: tuple[str, str, str, str, str],
) -> None:
    facts = facts_of(*cell)
    decides = POLICY.row_for(as_cell(cell))
    for row in POLICY.cross_check:
        if row.petiole != cell[0]:
            continue
        other = "full" if row.step != "full" else "hold"
        changed = tuple(
            item.model_copy(update={"step": other}) if item is row else item for item in POLICY.cross_check
        )
        found = evaluate(facts, POLICY.model_copy(update={"cross_check": changed}))
        step = other if row is decides else decides.step
        share = {"full": 1.0, "half": 0.5, "hold": 0.0}[step]
        assert found.factor == pytest.approx(1 + share * full_step(cell[0], cell[1])), row.id


def as_cell(cell: tuple[str, str, str, str, str]) -> Cell:
    petiole, leaf_state, soil, supply, sight = cell
    return Cell(
        PetioleState(petiole), LeafState(leaf_state), SoilState(soil), SupplyState(supply), SeenState(sight)
    )


RAISED, LOWERED = 1.3, 0.7
"""Factors in force since week 3: raised, cut."""


@pytest.mark.parametrize("cell", [cell for cell in EVERY_CELL if cell[0] == "sufficient"], ids="-".join)
@pytest.mark.parametrize("factor", [RAISED, LOWERED])
def test_a_return_towards_plan_is_let_through_where_the_step_the_same_way_is(
    factor: float, cell: tuple[str, str, str, str, str]
) -> None:
    # 3,500 ppm lies in the lower half of 3,000 to 5,000 (UGA-2021), 4,400 ppm in the upper
    value = 4400.0 if factor > 1 else 3500.0
    facts = facts_of(*cell, factor=factor)
    assert facts.primary is not None
    facts = replace(facts, primary=replace(facts.primary, value=value))
    held = agronomy("high" if factor > 1 else "low", *cell[1:]).share == 0
    found = evaluate(facts, POLICY)
    assert found.factor == pytest.approx(factor if held else 1 + (factor - 1) / 2)  # eased by half
    trace = line(found, "after recovery")
    assert trace.fired is not held
    if held:  # every row that would hold the step is named
        names = agronomy("high" if factor > 1 else "low", *cell[1:]).reasons
        assert trace.saw.endswith(f"held back by: {', '.join(names)}")
        assert trace.why == "What holds a step back holds the return towards plan back as well."


# --- the checks on a table ----------------------------------------------------------------------------------


def a_row(name: str = "one", **more: Any) -> CrossCheckRow:
    given = {"id": name, "petiole": "low", "step": "full", "reason": "made up", "source": "none"}
    return CrossCheckRow.model_validate(given | {"evidence": Evidence.PROJECT_RULE.value} | more)


def three() -> list[CrossCheckRow]:
    """The smallest table: one row for each state of the petiole."""
    return [a_row(f"all-{state}", petiole=state.value, step="hold") for state in PetioleState]


def test_the_shipped_table_has_no_fault_and_neither_has_the_smallest_one() -> None:
    assert list(table_faults(ROWS)) == []
    assert list(table_faults(three())) == []


def test_a_table_of_no_rows_misses_every_cell() -> None:
    ((place, message),) = table_faults(())
    assert place == ("cross_check",) and message.startswith("540 cells have no row")


@pytest.mark.parametrize("name", [row.id for row in POLICY.cross_check])
def test_every_shipped_row_is_needed(name: str) -> None:
    # without it, its cells fall to another row, whose step or reason is not theirs, or to none
    row = next(item for item in ROWS if item.id == name)
    rest = [item for item in ROWS if item is not row]
    own = [cell for cell in cells() if row_for(ROWS, cell) is row]
    assert own
    for cell in own:
        other = row_for(rest, cell)
        assert other is None or other.reason != row.reason
    missing = [cell for cell in own if row_for(rest, cell) is None]
    faults = list(table_faults(rest))
    assert bool(faults) is bool(missing)
    if missing:
        assert faults[0] == (("cross_check",), f"{len(missing)} cells have no row, the first is: {missing[0]}")


def test_a_missing_cell_is_named_in_words() -> None:
    table = three()
    table[0] = a_row(leaf=["low", "sufficient", "high", "unclear"])
    faults = list(table_faults(table))
    first = "petiole low, leaf none, soil above, supply short, roots"
    assert faults == [(("cross_check",), f"36 cells have no row, the first is: {first}")]  # 3 x 4 x 3


def test_one_single_missing_cell_is_found() -> None:
    last = Cell(PetioleState.HIGH, LeafState.NONE, SoilState.NONE, SupplyState.UNKNOWN, SeenState.NOTHING)
    table = three()[:2]
    table += [
        a_row("leaves", petiole="high", leaf=["low", "sufficient", "high", "unclear"]),
        a_row("soils", petiole="high", soil=["above", "below"]),
        a_row("supplies", petiole="high", supply=["short", "full", "over"]),
        a_row("sights", petiole="high", seen=["roots", "rain"]),
    ]
    assert list(table_faults(table)) == [(("cross_check",), f"1 cells have no row, the first is: {last}")]
    assert row_for(table, last) is None


@pytest.mark.parametrize("above", [{}, {"leaf": ["low", "high"]}, {"leaf": ["low"]}])
def test_a_row_whose_cells_rows_above_have_all_taken_is_named_with_its_place(above: dict[str, Any]) -> None:
    table = [a_row("first", **above), a_row("second", leaf=["low"], seen=["rain"]), *three()]
    found = dict(table_faults(table))
    assert found["cross_check", 1] == "second decides nothing: rows above it fit all of its cells"
    assert (("cross_check", 2) in found) is (not above)  # the row for all low cells is dead below such a row
    assert set(found) == {("cross_check", 1)} | ({("cross_check", 2)} if not above else set())


def test_a_row_that_several_rows_above_take_all_cells_of_is_dead_too() -> None:
    table = [a_row("one", seen=["roots"]), a_row("two", seen=["rain", "nothing"]), a_row("three", leaf=["low"])]
    assert dict(table_faults([*table, *three()[1:]])) == {
        ("cross_check", 2): "three decides nothing: rows above it fit all of its cells"
    }


def test_a_row_that_keeps_one_cell_is_not_dead() -> None:
    table = [a_row("one", seen=["roots", "rain"]), a_row("two", leaf=["low"]), *three()]
    assert list(table_faults(table)) == []


def test_an_id_that_stands_twice_is_named_at_its_second_place() -> None:
    table = [a_row("same", seen=["roots"]), a_row("other", seen=["rain"]), a_row("same"), *three()[1:]]
    assert list(table_faults(table)) == [(("cross_check", 2), "same stands twice")]


def test_every_fault_of_a_table_is_told_at_once() -> None:
    table = [a_row("same"), a_row("same"), three()[1]]
    found = dict(table_faults(table))
    assert set(found) == {("cross_check", 1), ("cross_check",)}
    both = [message for place, message in table_faults(table) if place == ("cross_check", 1)]
    assert both == ["same stands twice", "same decides nothing: rows above it fit all of its cells"]
    assert found["cross_check",].startswith("180 cells have no row, the first is: petiole high, ")


@pytest.mark.parametrize(
    ("columns", "count"),
    [
        ({}, 180),
        ({"leaf": ["low"]}, 36),
        ({"leaf": ["low", "none"], "soil": ["above"]}, 24),
        ({"supply": ["short", "over"]}, 90),
        ({"seen": ["roots"]}, 60),
        ({"leaf": ["high"], "soil": ["none"], "supply": ["full"], "seen": ["rain"]}, 1),
    ],
)
def test_a_column_left_out_fits_everything(columns: dict[str, Any], count: int) -> None:
    row = a_row(**columns)
    fitting = [cell for cell in cells() if row.fits(cell)]
    assert len(fitting) == count
    for cell in fitting:
        assert cell.petiole is PetioleState.LOW
        for name, states in columns.items():
            assert str(getattr(cell, name)) in states


def test_the_first_row_that_fits_decides() -> None:
    table = [a_row("rain", seen=["rain"], step="half"), a_row("rest", step="hold")]
    cell = Cell(PetioleState.LOW, LeafState.NONE, SoilState.NONE, SupplyState.FULL, SeenState.RAIN)
    assert row_for(table, cell) is table[0] and row_for(table[::-1], cell) is table[1]
    assert row_for(table, cell._replace(seen=SeenState.ROOTS)) is table[1]
    assert row_for(table, cell._replace(petiole=PetioleState.HIGH)) is None


@pytest.mark.parametrize("step", ["full", "half"])
def test_a_row_for_a_sufficient_petiole_can_only_hold(step: str) -> None:
    a_row(petiole="sufficient", step="hold")
    with pytest.raises(ValidationError, match="can only be hold"):
        a_row(petiole="sufficient", step=step)


@pytest.mark.parametrize(
    "wrong",
    [
        {"petiole": "none"},
        {"leaf": ["medium"]},
        {"soil": ["high"]},
        {"supply": ["half"]},
        {"seen": ["snow"]},
        {"step": "double"},
        {"reason": " "},
        {"source": ""},
        {"evidence": "hearsay"},
        {"id": "Low leaf"},
        {"leaves": ["low"]},
    ],
)
def test_a_row_with_a_word_that_is_none_of_its_column_is_refused(wrong: dict[str, Any]) -> None:
    a_row()
    with pytest.raises(ValidationError):
        a_row(**wrong)


def test_a_policy_with_a_faulty_table_is_refused_with_the_place() -> None:
    data = POLICY.model_dump(mode="json", by_alias=True)
    assert Policy.model_validate(data) == POLICY
    data["cross_check"] = data["cross_check"][1:] + data["cross_check"][:1]  # the roots come last
    with pytest.raises(ValidationError, match="low-roots decides nothing: rows above it fit all of its cells"):
        Policy.model_validate(data)
