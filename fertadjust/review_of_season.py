"""A season folder's review: its blocks looked back on, what to try next year, and both as data and as a page."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import TYPE_CHECKING, Any

from fertadjust import review_words
from fertadjust.advice_data import reading_data
from fertadjust.entry import block_of
from fertadjust.errors import UserError
from fertadjust.history import history_data, history_of
from fertadjust.record import Kind, Record, standing_on
from fertadjust.review import FarmReview, Review, Sides, farm_review, review_of
from fertadjust.review_next_year import farm_next_year, next_year
from fertadjust.review_words import Suggestion
from fertadjust.rules.evidence_rules import compared
from fertadjust.season import BlockSeason
from fertadjust.season_book import PROGRAM
from fertadjust.stored import NOT_AS_WRITTEN, UNREADABLE, decided_of, with_records
from fertadjust.units import UnitSystem

if TYPE_CHECKING:
    from fertadjust.api import Season

# --- of a season folder -------------------------------------------------------------------------------------


def review(season: Season, block: str, on: date) -> Review:
    """The review of one block of an opened season on a day.

    Raises:
        UserError: there is no such block, or the records cannot be read.
    """
    return _reviewed(season, block, season.records.all(), on)


def review_of_farm(season: Season, on: date) -> FarmReview:
    """The reviews of all blocks of an opened season on a day.

    Raises:
        UserError: the records cannot be read.
    """
    every = season.records.all()
    return farm_review([_reviewed(season, key, every, on) for key in season.blocks])


def _reviewed(season: Season, block: str, every: Sequence[Record], on: date) -> Review:
    plan = block_of(season.file, block)
    _check(plan, every)
    now = with_records(plan, standing_on(every, on))
    return review_of(now, history_of(plan, every, on), every, on)


def _check(plan: BlockSeason, every: Sequence[Record]) -> None:
    """Whether every record of a block that was ever written, replaced or not, can be read.

    Raises:
        UserError: one cannot.
    """
    mine = [record for record in every if record.block == plan.block.key]
    written = [record for record in mine if record.content is not None]
    try:
        with_records(plan, written)
        for record in written:
            if record.kind is Kind.DECISION:
                decided_of(record)
    except NOT_AS_WRITTEN:
        raise UserError(UNREADABLE) from None


def review_page(season: Season, block: str, on: date) -> str:
    """The review of one block as one self-contained HTML page, with its season chart."""
    from fertadjust.outputs import drawn_twice
    from fertadjust.review_page import review_html

    found = review(season, block, on)
    return review_html(
        found,
        next_year(found, season.units),
        farm=season.file.farm,
        units=season.units,
        charts=[drawn_twice(season, block, on)],
        program=PROGRAM,
    )


def farm_review_page(season: Season, on: date) -> str:
    """The review of all blocks as one self-contained HTML page, with the chart that shows them together."""
    from fertadjust.farm_charts import overview_svgs
    from fertadjust.review_page import farm_review_html

    found, units = review_of_farm(season, on), season.units
    return farm_review_html(
        found,
        [next_year(item, units) for item in found.reviews],
        farm_next_year(found, units),
        farm=season.file.farm,
        units=units,
        charts=overview_svgs([item.season for item in found.reviews], on),
        program=PROGRAM,
    )


# --- as data ------------------------------------------------------------------------------------------------


def review_data(review: Review, units: UnitSystem) -> dict[str, Any]:
    """A review as JSON-ready data; rates and totals per area, areas and weights in ``units``."""
    found, sampling, block = review.nitrogen, review.sampling, review.season.block
    back, told = review.came_back()
    return {
        "block": block.key,
        "block_name": block.name,
        "on": review.on.isoformat(),
        "from": review.start.isoformat(),
        "to": review.end.isoformat(),
        "over": review.over,
        "units": {"rate": units.rate_unit, "total": units.total_unit, "area": units.area_unit},
        "in_short": list(review_words.in_short(review, units)),
        "results": {
            "kind": review_words.kind(review),
            **_sides(review.results),
            "other_kinds": review.others,
            "not_used": [item._asdict() | {"sampled": item.sampled.isoformat()} for item in review.not_used],
            "corrected": review.corrected,
            "voided": review.voided,
        },
        "days": _sides(review.days),
        "history": history_data(review.moments, units),
        "changes": [
            {
                "on": item.decided.on.isoformat(),
                "raised": item.raised,
                "before": reading_data(item.before, compared(item.before, review.season.policy)),
                "before_corrected_since": item.corrected_since,
                "after": None
                if item.after is None
                else reading_data(item.after, compared(item.after, review.season.policy)),
                "outcome": item.outcome.value,
                "days": item.days,
                "changed_again": item.changed_again,
                "ran_out": item.ran_out,
            }
            for item in review.changes
        ],
        "came_back": {"back": back, "of": told},
        "nitrogen": {
            "area": units.area_out(found.area_ac),
            "plan": units.rate_out(found.plan_lb_ac),
            "planned": units.rate_out(found.planned_lb_ac),
            "aimed": units.rate_out(found.aimed_lb_ac),
            "logged": units.rate_out(found.logged_lb_ac),
            "assumed": units.rate_out(found.assumed_lb_ac),
            "credits": units.rate_out(found.credits_lb_ac),
            "total": units.rate_out(found.total_lb_ac),
            "cap": None if found.cap_lb_ac is None else units.rate_out(found.cap_lb_ac),
            "weeks": [row.week.number for row in found.weeks],
            "weeks_without_log": list(found.unlogged),
            "weeks_off_target": list(found.off_target),
        },
        "sampling": {
            "days": [item.isoformat() for item in sampling.days],
            "gaps": list(sampling.gaps),
            "waits": list(sampling.waits),
        },
        "next_year": [_suggested(item) for item in next_year(review, units)],
    }


def farm_review_data(farm: FarmReview, units: UnitSystem) -> dict[str, Any]:
    """The reviews of a farm as JSON-ready data; see `review_data`."""
    back, told = farm.came_back
    return {
        "in_short": list(review_words.farm_in_short(farm, units)),
        "results": _sides(farm.results),
        "days": _sides(farm.days),
        "came_back": {"back": back, "of": told},
        "next_year": [_suggested(item) for item in farm_next_year(farm, units)],
        "blocks": [review_data(item, units) for item in farm.reviews],
    }


def _sides(part: Sides) -> dict[str, Any]:
    return part._asdict() | {"share_within": part.share_within}


def _suggested(item: Suggestion) -> dict[str, Any]:
    return {"text": item.text, "grounds": [{"block": name, "ground": ground} for name, ground in item.grounds]}
