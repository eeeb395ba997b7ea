"""Rules on position: where the result lies against its band, at this stage and one beside it, and its trend."""

from __future__ import annotations

import math
from datetime import timedelta

from fertadjust.band_rows import Band
from fertadjust.compare import Side, chances, compare, percent, position
from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.rules.facts import OWN_RULE, Backing, Draft, Facts, Outcome, Reading, backed_by, fires, quiet
from fertadjust.rules.policy import Policy
from fertadjust.tissue import Censor, Tissue
from fertadjust.trend import MIN_RESULTS, Trend
from fertadjust.uncertainty import log_sd

_LEAF_HIGH = Backing("UDEL-T", Evidence.DERIVED)


def status(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Probabilities against the band at the stated confidence decide which way the result points."""
    reading = facts.primary
    if reading is None:
        return quiet(policy.confidence, "no result", "There is no result to compare.", draft)
    found = compare(reading.value, reading.censor, draft.relative, reading.band, policy.confidence.value)
    draft = draft._replace(comparison=found)
    chance = ", ".join(f"{side} {percent(share)}" for side, share in chances(found, reading.band).items())
    saw = f"{chance}; asked for {percent(policy.confidence.value)}"
    if found.sure is None:
        ask = "Sample again sooner: the result lies too close to an edge to act on."
        why = "The result is not clearly on one side of the band's edge, so by itself it moves nothing."
        if reading.censor is not Censor.NONE:
            ask = "Ask the laboratory for a value instead of a bound, or sample again sooner."
            why = "The laboratory's bound does not tell clearly on which side of the band the crop lies."
        draft = draft._replace(resample=True, to_do=(*draft.to_do, ask))
        return fires(policy.confidence, saw, why, draft, "hold, sample sooner")
    if found.sure is Side.WITHIN:
        return quiet(policy.confidence, saw, "The result is clearly within its band.", draft)
    if reading.tissue is Tissue.LEAF and found.sure is Side.ABOVE:
        why = "Leaf nitrogen alone is no ground for a cut: the action printed for high leaf nitrogen is none."
        return fires(_LEAF_HIGH, saw, why, draft)
    draft = draft._replace(wanted=-int(found.sure))
    word = "raise" if found.sure is Side.BELOW else "cut"
    why = f"The result is clearly {found.sure.word} its band ({found.status}), which calls for a {word}."
    return fires(policy.confidence, saw, why, draft, f"calls for a {word}")


def stage_in_doubt(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A status that does not survive the stages that the date may belong to is not acted on."""
    reading = facts.primary
    if reading is None or draft.comparison is None:
        return quiet(OWN_RULE, "no result", "There is no result to compare.", draft)
    backing = policy.stage_guess_days if reading.stage_guessed else policy.stage_doubt_days
    span = f"{backing.value:g} days either way"
    if not reading.beside:
        saw = f"{reading.band.label}, {span}"
        return quiet(backing, saw, "The band is the same however the stage is dated.", draft)
    beside = [
        compare(reading.value, reading.censor, draft.relative, band, policy.confidence.value)
        for band in reading.beside
    ]
    sides = "; ".join(
        f"{band.label}: {'not clear' if found.sure is None else found.sure.word}"
        for band, found in zip(reading.beside, beside, strict=True)
    )
    saw = f"{span}: {sides}"
    if draft.wanted == 0:
        return quiet(backing, saw, "Nothing is changed on this result, so the stage does not matter.", draft)
    if all(found.sure == draft.comparison.sure for found in beside):
        return quiet(backing, saw, "The status is the same at the stages beside it.", draft)
    opposite = any(found.sure is Side(draft.wanted) for found in beside)
    draft = draft._replace(
        wanted=0,
        resample=True,
        to_do=(*draft.to_do, "Confirm where the crop stands: the band changes close to the date of this sample."),
    )
    guess = "The stage may be wrong by some days;"
    if reading.stage_guessed:
        guess = "The stage date is a guess, and"
    other = "call for the opposite change" if opposite else "not call for this change"
    why = f"{guess} at the stage beside it the same result would {other}."
    return fires(backing, saw, why, draft, "hold, confirm the stage")


def heading_out(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """On a clear trend out of the band by the next sample, and no full step is taken: a small early step.

    The projection starts at the present position and follows the robust slope. The chance to leave the band has to
    be more than the policy's at the present stage and at the stages beside it, so that it stands whatever the
    stage is; a result whose status the stage beside it does not bear out gets this step and no more. A change that
    cannot show yet is not projected across.
    """
    limit = policy.trend_tail
    reading = facts.primary
    trend = facts.trend
    if reading is None or trend is None:
        why = f"A trend needs {MIN_RESULTS} results on different days."
        return quiet(limit, "too few results", why, draft)
    saw = (
        f"{trend.n} results, slope {7 * trend.slope_per_day:+z.2f} ({7 * trend.low_slope:+z.2f} to "
        f"{7 * trend.high_slope:+z.2f}) band widths a week, chance of such a run {trend.tail:.3f}; asked for at "
        f"most {limit.value:g}"
    )
    if draft.wanted != 0:
        return quiet(limit, saw, "The result is out of its band already.", draft)
    if not draft.fresh:
        return quiet(limit, saw, "The sample is too old to follow the trend on.", draft)
    if not draft.settled:
        return quiet(limit, saw, "The last change cannot show yet, so the trend is not followed on.", draft)
    if trend.tail > limit.value:
        return quiet(limit, saw, "The results do not run one way clearly enough.", draft)
    side = Side.BELOW if trend.slope_per_day < 0 else Side.ABOVE
    bands = (reading.band, *reading.beside)
    chances_of = [_leaving(reading, band, side, trend, policy, draft) for band in bands]
    word, early = side.word, -int(side)
    when = short_day(reading.sampled + timedelta(days=int(policy.sample_days.value)))
    known = [(band.label, chance) for band, chance in zip(bands, chances_of, strict=True) if chance is not None]
    if known:
        shares = ", ".join(f"{label} {percent(chance)}" for label, chance in known)
        saw += f"; chance to lie {word} the band on {when}: {shares}"
    backing = backed_by(limit, policy.leaving_chance)
    if len(known) < len(bands):
        why = "A laboratory's bound, or a band with one edge, is not projected."
        return quiet(limit, saw, why, draft)
    if any(chance <= policy.leaving_chance.value for _, chance in known):
        why = f"The chance has to be more than {percent(policy.leaving_chance.value)} at every stage in doubt."
        return quiet(backing, saw, why, draft)
    if draft.comparison is not None and draft.comparison.sure is Side(early):
        return quiet(limit, saw, "The result lies clearly on the other side of the band.", draft)
    if reading.tissue is Tissue.LEAF and early < 0:
        return quiet(_LEAF_HIGH, saw, "Leaf nitrogen alone is no ground for a cut, nor for an early one.", draft)
    draft = draft._replace(early=early)
    likely = f"the crop is more likely than not to lie {word} its band by {when}"
    why = f"As the trend runs, {likely}, so a small early step is taken."
    if draft.comparison is not None and draft.comparison.side is not Side.WITHIN:
        why = f"Whatever the stage, {likely} as the trend runs: a small early step."
    return fires(backing, saw, why, draft, f"early {'raise' if early > 0 else 'cut'}")


def _leaving(reading: Reading, band: Band, side: Side, trend: Trend, policy: Policy, draft: Draft) -> float | None:
    """Chance to lie on a side of a band by the next sample; None for a band with one edge or a bound."""
    if reading.censor is not Censor.NONE or band.low is None or band.high is None:
        return None
    width = math.log(band.high / band.low)
    place = position(reading.value, band.low, band.high)
    below, _, above = trend.ahead(place, log_sd(draft.relative) / width, policy.sample_days.value)
    return below if side is Side.BELOW else above
