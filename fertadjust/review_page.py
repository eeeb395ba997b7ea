"""A season's review as one HTML page, of one block or of a farm. It prints, needs no network, runs no script."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from fertadjust import review_words, words
from fertadjust.cautions import cautions_for
from fertadjust.dates import day
from fertadjust.evidence import EVIDENCE_MEANS
from fertadjust.history import Moment
from fertadjust.limits import limits_of_the_test
from fertadjust.pages import Drawn, cited_in, environment, figures
from fertadjust.report_parts import Row, area_words, backing_of, glued
from fertadjust.review import FarmReview, Nitrogen, Review
from fertadjust.review_words import Suggestion
from fertadjust.season import BlockSeason
from fertadjust.units import UnitSystem


def review_html(
    review: Review,
    suggestions: Sequence[Suggestion],
    *,
    farm: str,
    units: UnitSystem,
    charts: Sequence[Drawn],
    program: str,
) -> str:
    """The review of one block as a complete HTML page; the same arguments always give the same page.

    Args:
        review: the review.
        suggestions: what to try next year on the block.
        farm: the farm's name.
        units: units to show.
        charts: the season chart, put in as it is; none where empty.
        program: name and version to print in the footer.
    """
    return _page(
        {
            "name": review.season.block.name,
            "span": review_words.span(review),
            "in_short": [glued(text) for text in review_words.in_short(review, units)],
            "recalled": review_words.recalled_line([review]),
            "blocks": [_block(review, suggestions, units)],
            "farm_table": None,
            "suggestions": (),
        },
        [review.season],
        review.on,
        charts,
        {"farm": farm, "units": units, "program": program},
    )


def farm_review_html(
    found: FarmReview,
    suggestions: Sequence[Sequence[Suggestion]],
    together: Sequence[Suggestion],
    *,
    farm: str,
    units: UnitSystem,
    charts: Sequence[Drawn],
    program: str,
) -> str:
    """The review of all blocks of a farm as a complete HTML page.

    Args:
        found: the reviews.
        suggestions: what to try next year on each block, in their order.
        together: the same for the farm, what holds for more blocks first.
        farm, units, charts, program: as for `review_html`; the chart shows all blocks.
    """
    pairs = zip(found.reviews, suggestions, strict=True)
    return _page(
        {
            "name": "",
            "span": review_words.span(min(found.reviews, key=lambda item: item.start)),
            "in_short": [glued(text) for text in review_words.farm_in_short(found, units)],
            "recalled": review_words.recalled_line(found.reviews),
            "blocks": [_block(item, own, units) for item, own in pairs],
            "farm_table": [[glued(text) for text in review_words.farm_row(item, units)] for item in found.reviews],
            "farm_nitrogen": [
                (text, f"{units.weight_out(lb):,.1f}") for text, lb in review_words.farm_nitrogen(found).items()
            ],
            "suggestions": together,
        },
        [item.season for item in found.reviews],
        found.reviews[0].on,
        charts,
        {"farm": farm, "units": units, "program": program},
    )


def _page(content: Row, seasons: Sequence[BlockSeason], on: date, charts: Sequence[Drawn], frame: Row) -> str:
    policy = seasons[0].policy
    mixes = [mix for season in seasons for mix in season.mixes.every()]
    context = {
        **content,
        **frame,
        "day": day(on),
        "policy": policy,
        "read_between": review_words.READ_BETWEEN,
        "no_proof": review_words.NO_PROOF,
        "rules_of_thumb": review_words.RULES_OF_THUMB,
        "none_applies": review_words.NONE_APPLIES,
        "limits": limits_of_the_test(seasons[0].tables),
        "own": policy.overrides(),
        "cautions": [(item.text, backing_of(item.source, item.evidence)) for item in cautions_for(*mixes)],
        "evidence_means": [(item.value, text) for item, text in EVIDENCE_MEANS.items()],
    }
    drawn = figures(charts)
    template = environment().get_template("review.html.j2")
    draft = template.render(context, charts=drawn, citations={})
    return template.render(context, charts=drawn, citations=cited_in(draft))


def _block(review: Review, suggestions: Sequence[Suggestion], units: UnitSystem) -> Row:
    """The parts of one block as plain texts; the template only lays them out."""
    season, back = review.season, review.came_back()
    policy = season.policy
    waiting = len(review.changes) - back[1]
    bands = dict.fromkeys((item.band.source, item.band.evidence) for item in review.readings)
    return {
        "name": season.block.name,
        "span": review_words.span(review),
        "in_short": [glued(text) for text in review_words.in_short(review, units)],
        "advised": f"{review_words.advised(review.moments)}; {review_words.decided(review.moments)}.",
        "moments": [_moment(item, units) for item in review.moments],
        "results": [glued(text) for text in review_words.results_lines(review)],
        "sides": [("results", *review.results), ("days", *review.days)] if review.readings else [],
        "days": glued(review_words.days_line(review)),
        "bands": [backing_of(*item) for item in bands],
        "changes": [review_words.change_words(item, units) for item in review.changes],
        "came_back": review_words.came_back(*back, waiting),
        "lags": [
            (f"{figure.value:g} days", what, backing_of(figure.source, figure.evidence))
            for figure, what in (
                (policy.lag_nitrate_days, "with a mix mostly of nitrate"),
                (policy.lag_ammonium_days, "with another"),
            )
        ],
        "nitrogen": _nitrogen(review.nitrogen, units),
        "credits": [
            (item.name, words.rate(item.n_lb_ac, units), backing_of(item.source, item.evidence))
            for item in season.plan.credits
        ],
        "area": area_words(season.block, units),
        "weeks": [glued(text) for text in review_words.weeks_lines(review.nitrogen)],
        "sampling": review_words.sampling_lines(review),
        "suggestions": suggestions,
    }


def _moment(item: Moment, units: UnitSystem) -> Row:
    decided, followed = item.decided, item.followed
    return {
        "on": day(item.advice.on),
        "result": review_words.result(item.advice.facts.primary),
        "advised": glued(words.headline(item.advice, units)),
        "decided": review_words.choice(item, units),
        "by": "" if decided is None else decided.by,
        "reason": "" if decided is None else decided.reason,
        "otherwise": item.comes_out_otherwise(units),
        "applied": words.rate(followed.applied_lb_ac, units),
        "aimed": words.rate(followed.aimed_lb_ac, units),
        "until": day(followed.end),
    }


def _nitrogen(item: Nitrogen, units: UnitSystem) -> list[tuple[str, str, str]]:
    return [
        (text, words.rate(lb_ac, units), f"{units.weight_out(lb_ac * item.area_ac):,.2f}")
        for text, lb_ac in review_words.nitrogen_lines(item)
    ]
