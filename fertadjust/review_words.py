"""A season's review in a grower's words. Nothing is counted here; the words follow from the review."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

from fertadjust.dates import day, short_day
from fertadjust.history import Moment
from fertadjust.readings import side_of
from fertadjust.review import OFF_TARGET, FarmReview, Nitrogen, Review, Sides
from fertadjust.review_changes import AfterChange
from fertadjust.rules.facts import Action, Reading
from fertadjust.stored import Decided
from fertadjust.units import UnitSystem
from fertadjust.words import band_words, counted, listed, numbered, rate, reading_mark, recalled_mark

_TINY: Final = 1e-6

READ_BETWEEN: Final = (
    "This reads between results: from one to the next the value is taken to run on a straight line in its "
    "logarithm, and each day is held against its own band. Next to a bound such as <900, and on a day without a "
    "band, it is not known."
)
NO_PROOF: Final = (
    "Coming back does not prove that the change did it: the band moves, results scatter, and after a result that "
    "lies far out the next one tends to lie nearer the middle, whatever is done."
)
RULES_OF_THUMB: Final = (
    "The project's own rules of thumb, on this one season; no publication stands behind them. Stay within the "
    "bounds and the season cap. Confirm what you change in the plan with your extension service or a licensed "
    "advisor; local nutrient rules come first."
)
NONE_APPLIES: Final = "None of the rules of thumb has anything to say about this season."

ADVISED_THEN: Final = (
    "Then: as it was advised on that day; the plan, the rules or late records have changed it since."
)

_ACCEPT: Final = "accept"
_CHOICES: Final = {_ACCEPT: "accepted", "change": "changed", "leave": "left"}


# --- small words --------------------------------------------------------------------------------------------


def share(part: Sides) -> str:
    """Share within of what is known in percent, or "not known"."""
    return "not known" if part.share_within is None else f"{100 * part.share_within:.0f} %"


def sides(part: Sides) -> str:
    """For example "3 below, 2 within, 0 above, 1 not known"."""
    return f"{part.below} below, {part.within} within, {part.above} above, {part.unknown} not known"


def kind(review: Review) -> str:
    """The kind that was reviewed, for example "petiole NO3-N, dry weight"; "" without a reading."""
    mine = {number for item in review.readings for number in item.records}
    return next((item.kind for item in review.season.results if item.record in mine), "")


def result(reading: Reading | None) -> str:
    """A result against its band: "2,300 ppm of 18 Mar, below 3,500 to 6,000 ppm"; a recalled band is marked."""
    if reading is None:
        return "no usable result"
    side = side_of(reading)
    where = "cannot be told against" if side is None else side.word
    band = f"{band_words(reading)}{reading_mark(reading)}"
    return f"{reading.text()} of {short_day(reading.sampled)}, {where} {band}"


def total(lb_ac: float, units: UnitSystem) -> str:
    """A total with its unit."""
    return f"{rate(lb_ac, units)} {units.total_unit}"


# --- the parts ----------------------------------------------------------------------------------------------


def span(review: Review) -> str:
    """The days looked back on, and whether the season is over."""
    if review.end < review.start:
        return f"The season has not begun: the plan starts on {day(review.season.plan.start)}."
    still = "The season is over." if review.over else "The season still runs: everything is so far."
    return f"{day(review.start)} to {day(review.end)}. {still}"


def in_short(review: Review, units: UnitSystem) -> tuple[str, str, str]:
    """Three sentences: results and time in band, advice and decisions, nitrogen."""
    first = "No nitrogen result could be held against a band."
    if review.readings:
        first = (
            f"Of {counted(len(review.readings), 'result')} of {kind(review)}, {review.results.within} lay within "
            f"the band; read between results, {share(review.days)} of the {review.days.known} days that are known "
            "did."
        )
    return first, _decided_in_short([review], review.came_back()), _nitrogen_in_short(review, units)


def farm_in_short(farm: FarmReview, units: UnitSystem) -> tuple[str, str, str]:
    """The same three sentences over all blocks."""
    count = sum(len(item.readings) for item in farm.reviews)
    first = "No nitrogen result could be held against a band."
    if count:
        first = (
            f"On {counted(len(farm.reviews), 'block')}, {farm.results.within} of {counted(count, 'result')} lay "
            f"within the band; read between results, {share(farm.days)} of the {farm.days.known} days that are "
            "known did."
        )
    planned, aimed, logged, assumed, *_ = (f"{units.weight_out(lb):,.1f}" for lb in farm_nitrogen(farm).values())
    over = [item.season.block.name for item in farm.reviews if _left(item.nitrogen, 0.0) < -_TINY]
    third = (
        f"{logged} {units.weight_unit} of nitrogen were logged on the farm; in the weeks that ended {aimed} were "
        f"aimed at, {planned} planned, and {assumed} counted as applied without a log"
    )
    third += f"; over the season cap: {listed(over, 'and')}." if over else "; no block is over a season cap."
    return first, _decided_in_short(farm.reviews, farm.came_back), third


def _decided_in_short(reviews: Sequence[Review], came_back: tuple[int, int]) -> str:
    moments = [item for review in reviews for item in review.moments]
    if not moments:
        return "Nothing was advised or decided."
    text = f"{advised(moments)}; {decided(moments)}"
    back, told = came_back
    return text + (f"; back in band after {back} of {counted(told, 'change')}." if told else ".")


def advised(moments: Sequence[Moment]) -> str:
    """How often each action was advised; on a day with a decision, as it was advised then."""
    found = [item.decided.action if item.decided else item.advice.recommendation.action for item in moments]
    counts = [f"{action.value} {found.count(action)} times" for action in Action]
    return f"Advised: {', '.join(counts)}".replace(" 1 times", " once")


def decided(moments: Sequence[Moment]) -> str:
    """What became of the advices; a day on which no week of the plan was left asks for no decision."""
    choices = [item.decided.choice for item in moments if item.decided]
    counts = [f"{choices.count(choice)} {word}" for choice, word in _CHOICES.items()]
    past = sum(_none_left(item) for item in moments)
    without = len(moments) - len(choices) - past
    text = f"decided: {', '.join(counts)}, {counted(without, 'advice day')} without a decision"
    return f"{text}, {past} with no week of the plan left to change" if past else text


def _none_left(moment: Moment) -> bool:
    return moment.decided is None and not moment.advice.facts.coming


def choice(moment: Moment, units: UnitSystem) -> str:
    """A day's decision in a few words."""
    if moment.decided is None:
        return "no week left" if _none_left(moment) else "nothing that day"
    return f"{_CHOICES.get(moment.decided.choice, moment.decided.choice)}{_first(moment.decided, units, ', ')}"


def _first(decided: Decided, units: UnitSystem, between: str) -> str:
    rates = decided.rates_lb_ac
    return f"{between}{rate(rates[min(rates)], units)}" if rates else ""


def moment_row(moment: Moment, units: UnitSystem) -> tuple[str, str, str, str, str]:
    """A day in a narrow row: day, result, what was advised and decided, and what was logged until the next day.

    Where another advice was decided on than comes out now, both stand there; see `ADVISED_THEN`.
    """
    reading, followed = moment.advice.facts.primary, moment.followed
    value = "none"
    if reading is not None:
        side = side_of(reading)
        value = f"{reading.text()}, {'not known' if side is None else side.word}"
    logged = f"{rate(followed.applied_lb_ac, units)} of {rate(followed.aimed_lb_ac, units)}"
    return short_day(moment.advice.on), value, _advised(moment, units), choice(moment, units), logged


def _advised(moment: Moment, units: UnitSystem) -> str:
    then, now = advised_then(moment, units), _advised_now(moment, units)
    return f"{then} then, now {now}" if then else now


def _advised_now(moment: Moment, units: UnitSystem) -> str:
    found = moment.advice.recommendation
    return f"{found.action.value} {rate(found.rates_lb_ac[0], units)}" if found.rates_lb_ac else found.action.value


def advised_then(moment: Moment, units: UnitSystem) -> str:
    """What a decision was made on, where something else comes out now: "raise"; "raise 5.25" where accepted."""
    made = moment.decided
    if made is None or not moment.comes_out_otherwise(units):
        return ""
    then = f"{made.action.value}{_first(made, units, ' ') if made.choice == _ACCEPT else ''}"
    return "" if then == _advised_now(moment, units) else then


def results_lines(review: Review) -> list[str]:
    """What came of the results."""
    if not review.readings:
        lines = ["No nitrogen result could be held against a band."]
    else:
        count = f"{counted(len(review.readings), 'result')} of {kind(review)} (those of one day count as one)"
        lines = [f"{count}: {sides(review.results)}."]
    lines += [f"Nitrogen results of other kinds: {review.others}."] if review.others else []
    reasons = dict.fromkeys(item.why for item in review.not_used)
    unused = f"not used: {len(review.not_used)}" + (f" ({'; '.join(reasons)})" if reasons else "")
    return [*lines, f"Corrected: {review.corrected}; voided: {review.voided}; {unused}."]


def recalled_line(reviews: Sequence[Review]) -> str:
    """Which tables bands from memory were taken from, or ""."""
    readings = [item for review in reviews for item in review.readings]
    deciding = [item.advice.facts.primary for review in reviews for item in review.moments]
    readings += [item for item in deciding if item is not None]
    tables = sorted({item.band.table for item in readings if recalled_mark(item.band)})
    if not tables:
        return ""
    return f"Bands of {listed(tables, 'and')} were written from memory: check them before relying on this."


def days_line(review: Review) -> str:
    """Time in band in one sentence."""
    if not review.readings:
        return "Time in band is not known: there is no result."
    first, last = review.readings[0].sampled, review.readings[-1].sampled
    every = review.days.known + review.days.unknown
    return (
        f"{share(review.days)} of the known days in band: from {short_day(first)} to {short_day(last)} "
        f"{counted(every, 'day')}, {sides(review.days)}."
    )


class ChangeWords(NamedTuple):
    """A change and what came after it, in words."""

    on: str
    change: str
    before: str
    after: str
    outcome: str
    days: str
    notes: str


def change_words(item: AfterChange, units: UnitSystem) -> ChangeWords:
    """One change in words."""
    notes = {
        "another change was made in between": item.changed_again,
        "the plan's own rate had come back by then": item.ran_out,
        "the result before was corrected or voided since": item.corrected_since,
    }
    return ChangeWords(
        on=short_day(item.decided.on),
        change=f"{'raised' if item.raised else 'cut'} to {rate(item.decided.rates_lb_ac[item.week], units)}",
        before=result(item.before),
        after="none yet that can show it" if item.after is None else result(item.after),
        outcome=item.outcome.value,
        days="" if item.days is None else str(item.days),
        notes="; ".join(text for text, applies in notes.items() if applies),
    )


def came_back(back: int, told: int, waiting: int) -> str:
    """The totals over the changes."""
    if not told + waiting:
        return "No change was made on a result that lay out of its band."
    if not told:
        return f"No later result tells yet what came of {counted(waiting, 'change')}."
    text = f"Came back into band after {back} of {counted(told, 'change')} with a later result that tells"
    return f"{text}; {waiting} without one." if waiting else f"{text}."


def nitrogen_lines(item: Nitrogen) -> list[tuple[str, float]]:
    """Name and amount [lb/ac] of each line of the nitrogen account."""
    lines = [
        ("Plan of the whole season", item.plan_lb_ac),
        (f"Planned for the {counted(len(item.weeks), 'week')} that ended", item.planned_lb_ac),
        ("Aimed at in them, as decided", item.aimed_lb_ac),
        ("Logged in them", sum(row.applied_lb_ac for row in item.weeks)),
        ("Logged besides, outside the ended weeks", item.besides_lb_ac),
        ("Weeks without a log, counted as applied", item.assumed_lb_ac),
        ("Credits", item.credits_lb_ac),
        ("Total: credits, logged, counted as applied", item.total_lb_ac),
    ]
    if item.cap_lb_ac is not None:
        left = item.cap_lb_ac - item.total_lb_ac
        lines += [("Season cap", item.cap_lb_ac)]
        lines += [("Left under the cap" if left >= -_TINY else "Over the cap", abs(left))]
    return lines


def farm_nitrogen(farm: FarmReview) -> dict[str, float]:
    """Name and amount [lb] of each line of the farm's nitrogen account."""
    every = [item.nitrogen for item in farm.reviews]
    return {
        "Planned for the weeks that ended": sum(item.planned_lb_ac * item.area_ac for item in every),
        "Aimed at in them, as decided": sum(item.aimed_lb_ac * item.area_ac for item in every),
        "Logged": sum(item.logged_lb_ac * item.area_ac for item in every),
        "Weeks without a log, counted as applied": sum(item.assumed_lb_ac * item.area_ac for item in every),
        "Credits": sum(item.credits_lb_ac * item.area_ac for item in every),
        "Total": sum(item.total_lb_ac * item.area_ac for item in every),
    }


def farm_row(review: Review, units: UnitSystem) -> tuple[str, ...]:
    """A block in one row.

    Name, results and days in band, changes that it came back after, weeks without a log, nitrogen logged on the
    block, total per area with credits, season cap.
    """
    item, (back, told) = review.nitrogen, review.came_back()
    return (
        review.season.block.name,
        f"{review.results.within} of {len(review.readings)}",
        share(review.days),
        f"{back} of {told}",
        str(len(item.unlogged)),
        f"{units.weight_out(item.logged_lb_ac * item.area_ac):,.2f}",
        rate(item.total_lb_ac, units),
        "none" if item.cap_lb_ac is None else rate(item.cap_lb_ac, units),
    )


def _left(item: Nitrogen, none: float) -> float:
    return none if item.cap_lb_ac is None else item.cap_lb_ac - item.total_lb_ac


def _nitrogen_in_short(review: Review, units: UnitSystem) -> str:
    item = review.nitrogen
    text = (
        f"{total(item.logged_lb_ac, units)} were logged; in the weeks that ended {rate(item.aimed_lb_ac, units)} "
        f"were aimed at and {rate(item.planned_lb_ac, units)} planned"
    )
    if item.cap_lb_ac is None:
        return f"{text}; there is no season cap."
    left = _left(item, 0.0)
    where = "left under" if left >= -_TINY else "over"
    return (
        f"{text}; with credits {rate(abs(left), units)} {where} the season cap of {rate(item.cap_lb_ac, units)}."
    )


def weeks_lines(item: Nitrogen) -> list[str]:
    """Weeks off their target, and weeks without a log."""
    if not item.weeks:
        return ["No week of the plan has ended."]
    logged = sum(row.logged for row in item.weeks)
    off = f"Off target by more than {100 * OFF_TARGET:.0f} % (the project's own threshold): "
    off += f"{len(item.off_target)} of {counted(logged, 'logged week')}"
    off += f" ({numbered(item.off_target)})." if item.off_target else "."
    if item.unlogged:
        return [off, f"Without a log: {numbered(item.unlogged)}."]
    every = "Every week" if logged == len(item.weeks) else "Every week in which something was to go out"
    return [off, f"{every} has a log."]


def sampling_lines(review: Review) -> list[str]:
    """Sampling days, gaps, and the time to the result."""
    found = review.sampling
    lines = [f"{counted(len(found.days), 'sampling day')} with a nitrogen result that has a band."]
    if found.gaps:
        lines.append(f"Days between them: median {median(found.gaps):g}, longest {max(found.gaps)}.")
    if found.waits:
        many = counted(len(found.waits), "report")
        lines.append(f"Days from sampling to the result: median {median(found.waits):g} ({many}).")
    else:
        lines.append("Days from sampling to the result: not noted.")
    return lines


# --- what to try next year ----------------------------------------------------------------------------------


class Suggestion(NamedTuple):
    """Something to try next year, by one of the project's own rules of thumb.

    Attributes:
        text: what to try; the same for every block that it holds for.
        grounds: name of each block that it holds for, and the numbers behind it there.
    """

    text: str
    grounds: tuple[tuple[str, str], ...]
