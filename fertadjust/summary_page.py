"""The summary as one HTML page that is read on a phone in the field and prints on Letter or A4."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fertadjust import words
from fertadjust.attention import Standing
from fertadjust.block_day import Phase
from fertadjust.compare import percent
from fertadjust.dates import day, short_day
from fertadjust.farm_charts import overview_svgs
from fertadjust.needs import Urgency
from fertadjust.pages import Drawn, environment, figures
from fertadjust.summary import (
    Row,
    Summary,
    band_mark,
    counts_sentence,
    left_words,
    rates_shown,
    side_words,
    value_words,
)

_GLUE = "\N{NO-BREAK SPACE}"
_HEADINGS = {Urgency.TODAY: "Today", Urgency.THIS_WEEK: "This week", Urgency.WHEN_YOU_CAN: "When you can"}


def summary_html(summary: Summary, *, program: str, charts: Sequence[Drawn] = ()) -> str:
    """The summary as a complete HTML page; the same arguments always give the same page.

    Args:
        summary: the blocks as they stand.
        program: name and version to print in the footer.
        charts: figures of all blocks, put in as they are.
    """
    units = summary.units
    return (
        environment()
        .get_template("summary.html.j2")
        .render(
            day=day(summary.on),
            title=_farms(summary),
            several=summary.several,
            counts=counts_sentence(summary),
            charts=figures(charts),
            rows=[_row(row, mixed=units is None) for row in summary.rows],
            rate_unit="" if units is None else units.rate_unit,
            total_unit="" if units is None else units.total_unit,
            urgencies=_urgencies(summary),
            faults=summary.faults,
            program=program,
        )
    )


def _farms(summary: Summary) -> str:
    """The one farm's name, or how many farms and folders there are."""
    farms = {row.season_farm for row in summary.rows}
    if len(farms) != 1:
        return f"{len(farms)} farms"
    name = next(iter(farms))
    return name if summary.folders == 1 else f"{name}, {summary.folders} folders"


def drawn_summary(summary: Summary, *, program: str) -> str:
    """The page of a summary with the overview of its blocks; arguments as for `summary_html`."""
    return summary_html(summary, program=program, charts=overview_svgs(summary.named_blocks(), summary.on))


def _row(row: Row, *, mixed: bool) -> dict[str, Any]:
    """One row of the table; units stand in it where blocks differ in them."""
    one = row.standing
    before, after = rates_shown(one)
    return {
        "farm": row.farm,
        "block": one.block.name,
        "when": "nothing to do" if one.urgency is None else one.urgency.value,
        "urgent": one.urgency is Urgency.TODAY,
        "what": one.headline,
        "value": value_words(one).replace(" ", _GLUE),
        "side": side_words(one),
        "chance": _chance(one),
        "age": _age(one),
        "band": "" if one.reading is None else f"{words.band_words(one.reading)}, {one.reading.band.label}",
        "recalled": bool(band_mark(one)),
        "before": before,
        "after": after,
        "decided": one.decided_lb_ac is not None,
        "rate_unit": one.units.rate_unit if mixed else "",
        "review": _review(one),
        "left": left_words(one),
        "total_unit": one.units.total_unit if mixed and one.left_lb_ac is not None else "",
    }


def _chance(one: Standing) -> str:
    found = one.comparison
    return "" if found is None or found.side is None else percent(found.probability).replace(" ", _GLUE)


def _age(one: Standing) -> str:
    if one.age_days is None:
        return ""
    text = {0: "today", 1: "1 day old"}.get(one.age_days, f"{one.age_days} days old")
    return f"{text}, too old to decide on" if one.stale else text


def _review(one: Standing) -> str:
    if one.ran_out is not None:
        return f"ran out {short_day(one.ran_out)}".replace(" ", _GLUE)
    return "none" if one.review is None else short_day(one.review).replace(" ", _GLUE)


def _urgencies(summary: Summary) -> list[dict[str, Any]]:
    """Needs by urgency and block; what a block is judged by stands with its first mention."""
    told: set[int] = set()
    parts = []
    for urgency in Urgency:
        blocks = []
        for row in summary.with_needs(urgency):
            one = row.standing
            needs = [need.text for need in one.needs if need.urgency is urgency]
            blocks.append(
                {
                    "farm": row.farm,
                    "name": one.block.name,
                    "needs": needs,
                    "facts": [] if id(row) in told else _facts(one),
                }
            )
            told.add(id(row))
        parts.append({"name": _HEADINGS[urgency], "blocks": blocks})
    return [part for part in parts if part["blocks"]]


def _facts(one: Standing) -> list[str]:
    """What a block's needs rest on, in short sentences."""
    found, units = one.recommendation, one.units
    facts = [] if one.phase is Phase.RUNNING else [one.headline]
    if one.reading is None:
        facts.append("There is no usable result.")
    else:
        facts.append(words.result_sentence(one.reading, found, marked=True))
    if one.next_sample is not None and one.phase is Phase.RUNNING:
        facts.append(f"Next sample: {day(one.next_sample)}.")
    if one.review is not None:
        facts.append(f"The rate in force runs until its review on {day(one.review)}.")
    so_far = f"Nitrogen counted so far: {words.rate(one.so_far_lb_ac, units)} {units.total_unit}"
    cap = "no season cap is set" if one.cap_lb_ac is None else f"season cap {words.rate(one.cap_lb_ac, units)}"
    return [*facts, f"{so_far}; {cap}."]
