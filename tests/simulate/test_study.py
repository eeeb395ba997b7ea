"""The study of the rules: what is tried, what is taken over, and that the findings that ship come out again."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from fertadjust.shipped import data_folder
from fertadjust.simulate.guards import GUARDS
from fertadjust.simulate.measures import MEASURES, Estimate
from fertadjust.simulate.study import (
    BOUNDED,
    PLAN,
    RULES,
    TUNED,
    UNGUARDED,
    Beside,
    Study,
    StudyPlan,
    Tried,
    _worth_taking,
    first_batch,
    seasons_of,
    study,
)
from fertadjust.simulation_files import crop_model, findings, scenarios, study_plan, study_season
from fertadjust.study_chart import findings_figure
from fertadjust.study_data import findings_data
from fertadjust.study_found import sentences
from fertadjust.study_words import findings_text

SHIPPED: dict[str, Any] = json.loads((data_folder("findings") / "findings.json").read_text(encoding="utf-8"))


def small() -> StudyPlan:
    """The shipped study with a few seasons, scenarios and values; a value that saves nothing would be taken."""
    plan = study_plan().shorter(12)
    tuning = plan.tuning.model_copy(update={"scenarios": ("usual", "poor-soil")})
    report = plan.report.model_copy(update={"scenarios": ("usual", "rough"), "guards_in": ("usual",)})
    assert plan.variants
    trials = tuple(trial for trial in plan.trials if trial.name in ("confidence", "stage_doubt_days"))
    return plan.model_copy(update={"tuning": tuning, "report": report, "trials": trials})


def run(plan: StudyPlan, processes: int = 1) -> Study:
    return study(study_season(), crop_model("strawberry"), scenarios(), plan, processes)


@pytest.fixture(scope="module")
def found() -> Study:
    return run(small())


def test_every_way_and_every_guard_is_held_beside_the_rules(found: Study) -> None:
    assert [item.scenario for item in found.compared] == ["usual", "rough"]
    for item in found.compared:
        assert {PLAN, UNGUARDED, BOUNDED, RULES} <= set(item.means) <= {PLAN, UNGUARDED, BOUNDED, RULES, TUNED}
        assert set(item.gains) == set(item.means) - {RULES}
        assert {measure.name for measure in MEASURES} < set(item.means[RULES])
    assert [item.scenario for item in found.guards] == ["usual"]
    assert set(found.guards[0].gains) == {f"without {guard.name}" for guard in GUARDS}
    assert [item.scenario for item in found.variants] == [variant.name for variant in found.plan.variants]
    assert all(set(item.means) == {PLAN, UNGUARDED, BOUNDED, RULES} for item in found.variants)
    assert [(item.name, item.value) for item in found.tried] == [
        (trial.name, value) for trial in found.plan.trials for value in trial.values
    ]


def test_figures_are_looked_for_and_reported_on_different_seeds() -> None:
    plan = study_plan()
    assert plan.tuning.seed != plan.report.seed
    assert {scenario.seed for scenario in scenarios().values()}.isdisjoint({plan.tuning.seed, plan.report.seed})


def test_the_study_is_the_same_on_two_processors(found: Study) -> None:
    assert findings_data(run(small(), processes=2)) == findings_data(found)


def test_progress_reaches_what_was_announced() -> None:
    plan, done = small(), [0]
    assert plan.shorter(2).report.seasons != plan.report.seasons

    def count(more: int) -> None:
        done[0] += more

    study(study_season(), crop_model("strawberry"), scenarios(), plan.shorter(2), progress=count)
    most = seasons_of(plan.shorter(2))
    tuned = 2 * len(plan.report.scenarios)
    assert done[0] in (most, most - tuned)


def tried(name: str, value: float, saved: float, sure: float, calmer: float = 0.0) -> Tried:
    """A value that saves weeks, surely at least some of them, and reversals in a season."""
    return Tried(name, value, about(saved, sure), about(calmer, calmer / 2), about(0.0, 0.0))


def about(mean: float, low: float) -> Estimate:
    return Estimate(mean, low, 2 * mean - low, 100)


def test_a_figure_is_taken_over_where_it_saves_enough_weeks_and_clearly_more_than_nothing() -> None:
    given = [
        tried("confidence", 0.6, 0.010, 0.002),
        tried("confidence", 0.7, 0.012, 0.001),
        tried("cut_first", 0.2, 0.004, 0.003),
        tried("smallest_step", 0.05, 0.02, -0.001),
    ]
    assert _worth_taking(given, study_plan()) == {"confidence": 0.7}


def test_a_figure_is_taken_over_where_it_saves_reversals_and_costs_no_weeks() -> None:
    given = [
        tried("late_days", 1, 0.001, -0.001, calmer=0.24),
        tried("late_days", 2, 0.000, -0.002, calmer=0.30),
        tried("late_days", 7, 0.001, -0.002, calmer=0.40),
        tried("cut_first", 0.2, -0.003, -0.004, calmer=0.60),
        tried("smallest_step", 0.05, 0.0, 0.0, calmer=0.30),
    ]
    assert _worth_taking(given, study_plan()) == {"late_days": 2, "smallest_step": 0.05}


def test_of_a_figure_the_value_that_clearly_saves_weeks_comes_before_one_that_only_spares_reversals() -> None:
    given = [tried("late_days", 1, 0.020, -0.001, calmer=0.30), tried("late_days", 2, 0.010, 0.002)]
    assert _worth_taking(given, study_plan()) == {"late_days": 2}


def test_a_figure_that_stays_is_reported_and_never_taken() -> None:
    plan = small()
    stays = [trial.name for trial in plan.trials if trial.stays]
    assert stays == ["stage_doubt_days"]
    eager = run(plan.model_copy(update={"worth": 0.0}).shorter(6))
    assert "stage_doubt_days" not in eager.found
    assert any(item.name == "stage_doubt_days" for item in eager.tried)


def page(found: Study) -> str:
    return findings_text(found, study_season(), crop_model("strawberry"), scenarios(), {"A-1": "A citation."})


def turned(found: Study) -> Study:
    """A study in which every difference falls the other way."""

    def around(item: Beside) -> Beside:
        gains = {
            way: {
                name: Estimate(-value.mean, -value.high, -value.low, value.seasons) for name, value in row.items()
            }
            for way, row in item.gains.items()
        }
        return replace(item, gains=gains)

    return replace(
        found,
        compared=tuple(around(item) for item in found.compared),
        guards=tuple(around(item) for item in found.guards),
    )


def test_what_is_said_turns_with_the_figures(found: Study) -> None:
    said, other = " ".join(sentences(found)), " ".join(sentences(turned(found)))
    fed = -found.compared[0].gains[PLAN]["applied"].mean
    assert f"{fed:+.1f}" in said and f"{-fed:+.1f}" in other
    for item in found.compared:
        for way in (UNGUARDED, BOUNDED):
            more = item.gains[way]["applied"].mean
            if item is found.compared[0]:
                assert f"{abs(more):.1f} lb/ac {'more' if more >= 0 else 'less'} fed" in said
                assert f"{abs(more):.1f} lb/ac {'less' if more > 0 else 'more'} fed" in other


def test_a_study_without_guards_has_a_page_and_a_figure(found: Study) -> None:
    bare = replace(found, guards=(), variants=())
    assert "## Each guard left out" in page(bare)
    assert [axes.get_label() for axes in findings_figure(bare).axes] == ["scenarios"]


def test_what_another_crop_comes_to_is_said_as_it_is(found: Study) -> None:
    (item,) = found.variants

    def with_gain(first: float, other: float) -> str:
        def given(one: Beside, mean: float) -> Beside:
            sure = Estimate(mean, mean - 0.01, mean + 0.01, 50)
            gains = {way: {**row, "in_band": sure} for way, row in one.gains.items()}
            return replace(one, gains=gains)

        study = replace(found, compared=(given(found.compared[0], first), *found.compared[1:]))
        return sentences(replace(study, variants=(given(item, other),)))[-1]

    assert with_gain(-0.1, -0.1).count("as with the model's own figures") == 2
    assert with_gain(-0.1, 0.1).count("the other way round") == 2
    assert with_gain(-0.1, 0.0).count("not clear in both") == 2


def test_the_figure_says_that_it_is_simulated_and_nothing_leaves_it(found: Study) -> None:
    figure = findings_figure(found)
    assert any("Simulated with a crop model" in text.get_text() for text in figure.texts)
    figure.canvas.draw()
    legend = figure.axes[0].get_legend()
    assert legend is not None
    box, paper = legend.get_window_extent(), figure.bbox
    assert paper.x0 <= box.x0 and box.x1 <= paper.x1 and box.y1 <= paper.y1


def test_the_page_holds_every_scenario_guard_and_value_and_says_that_it_is_a_model(found: Study) -> None:
    text = page(found)
    for word in (
        "usual",
        "rough",
        *(guard.words for guard in GUARDS),
        "| confidence | 0.8 ",
        "stays: a week's error",
    ):
        assert word in text
    assert "not in a field" in text
    for line in crop_model("strawberry").tells_not:
        assert line in text
    rules, weeks = found.compared[0].means[RULES]["in_band"], found.weeks
    assert (
        f"| the rules | {weeks * rules.mean:.1f} ({weeks * rules.low:.1f} to {weeks * rules.high:.1f}) |" in text
    )


def test_the_figure_has_a_mark_for_each_way_and_each_guard(found: Study) -> None:
    figure = findings_figure(found)
    upper, lower = figure.axes
    assert [label.get_text() for label in upper.get_yticklabels()] == ["usual", "rough"]
    ways = found.compared[0].means
    marks = {container.get_label(): container for container in upper.containers}
    assert set(marks) == set(ways)
    for way, row in ways.items():
        drawn = marks[way].lines[0].get_xdata()  # type: ignore[attr-defined]
        assert drawn[0] == pytest.approx(found.weeks * row["in_band"].mean)
    assert [label.get_text() for label in lower.get_yticklabels()] == [guard.name for guard in GUARDS]


# --- the findings that ship ------------------------------------------------------------------------------------


def test_the_shipped_findings_are_of_the_shipped_study() -> None:
    plan = study_plan()
    assert SHIPPED["plan"] == plan.model_dump(mode="json", by_alias=True)
    assert [item["scenario"] for item in SHIPPED["compared"]] == list(plan.report.scenarios)
    assert SHIPPED["compared"][0]["means"][RULES]["in_band"]["seasons"] == plan.report.seasons


def test_the_first_batch_of_the_shipped_findings_comes_out_again() -> None:
    """Rules, model, scenarios or draws that changed since have to be studied again."""
    again = first_batch(study_season(), crop_model("strawberry"), scenarios(), study_plan())
    assert again == pytest.approx(SHIPPED["first"], rel=1e-6, nan_ok=True)


def test_the_shipped_text_is_made_of_the_shipped_figures() -> None:
    rules, weeks = SHIPPED["compared"][0]["means"][RULES]["in_band"], SHIPPED["weeks"]
    shown = f"{weeks * rules['mean']:.1f} ({weeks * rules['low']:.1f} to {weeks * rules['high']:.1f})"
    assert f"| the rules | {shown} |" in findings()


def test_the_shipped_rules_hold_what_the_study_found() -> None:
    """Whatever was worth taking over stands in the shipped policy, so that nothing more is found."""
    assert SHIPPED["found"] == {}
