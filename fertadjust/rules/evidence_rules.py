"""Rules on the evidence: is there a usable result, is it fresh and settled, and how sure is it."""

from __future__ import annotations

import math

from fertadjust.compare import Comparison, Side, compare
from fertadjust.dates import short_day
from fertadjust.evidence import Evidence
from fertadjust.rules.facts import (
    OWN_RULE,
    Backed,
    Backing,
    Draft,
    Facts,
    Outcome,
    Reading,
    backed_by,
    fires,
    quiet,
)
from fertadjust.rules.policy import Figure, Policy
from fertadjust.tissue import Method, Tissue
from fertadjust.uncertainty import (
    UncertaintyPart,
    combined,
    horwitz_relative,
    mass_fraction,
    repeatability_limit,
)

_KINDS = Backing("UF-CV004", Evidence.PUBLISHED)
_HORWITZ = Backing("HORWITZ-1988", Evidence.DERIVED)
_REPEATABILITY = Backing("ISO-5725", Evidence.DERIVED)


def repeatability(reading: Reading, policy: Policy) -> float:
    """Largest believable difference of two results of a reading, as a share of their mean."""
    return repeatability_limit(_device(reading, policy)[1], policy.within_laboratory.value)


def disagree(reading: Reading, policy: Policy) -> bool:
    """Whether several results of one day lie further apart than the repeatability limit."""
    return reading.count > 1 and reading.spread > repeatability(reading, policy)


def _device(reading: Reading, policy: Policy) -> tuple[str, float, Backed]:
    """Name and relative uncertainty of one laboratory result or meter reading, and what stands behind it."""
    if reading.method is Method.METER:
        return "meter, undiluted sap", policy.sap_meter.value, policy.sap_meter
    if reading.method is Method.METER_DILUTED:
        return "meter, diluted sap", policy.sap_meter_diluted.value, policy.sap_meter_diluted
    known = policy.laboratory_leaf if reading.tissue is Tissue.LEAF else policy.laboratory_petiole
    if known.value > 0:
        return "laboratory", known.value, known
    return "laboratory, by Horwitz", horwitz_relative(mass_fraction(reading.value, reading.unit)), _HORWITZ


def budget(reading: Reading, policy: Policy) -> tuple[UncertaintyPart, ...]:
    """Uncertainty budget of a reading: laboratory or meter, sampling, hour and day.

    A missing count of petioles is taken as the protocol's number. Of several results of one day only the part
    inside one laboratory averages out, s_R^2 = s_L^2 + s_r^2 / n (ISO-5725); where they disagree, half their range
    (the standard error of the mean of two) is added in quadrature.
    """
    name, single, backing = _device(reading, policy)
    inside = policy.within_laboratory.value**2
    share = single * math.sqrt(1.0 - inside + inside / reading.count)
    if disagree(reading, policy):
        share = math.hypot(share, reading.spread / 2)
    leaf = reading.tissue is Tissue.LEAF
    spread, hour = (policy.cv_leaf, policy.time_leaf) if leaf else (policy.cv_petiole, policy.time_petiole)
    count = reading.petioles or policy.protocol_count.value
    sampling = f"sampling, {count:g} {'leaves' if leaf else 'petioles'}"
    return (
        UncertaintyPart(name, share, backing.source, backing.evidence),
        UncertaintyPart(sampling, spread.value / math.sqrt(count), spread.source, spread.evidence),
        UncertaintyPart("hour and day", hour.value, hour.source, hour.evidence),
    )


def compared(reading: Reading, policy: Policy) -> Comparison:
    """A reading against its band, with the uncertainty of its budget at the policy's confidence."""
    relative = combined(part.relative for part in budget(reading, policy))
    return compare(reading.value, reading.censor, relative, reading.band, policy.confidence.value)


def wrong_kind(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Results without a band of their own kind are kept and shown, and decide nothing."""
    del policy
    saw = f"results known by {short_day(facts.on)} and not used: {len(facts.not_used)}"
    if facts.primary is None:
        draft = draft._replace(
            no_raise=(*draft.no_raise, "wrong kind"),
            no_cut=(*draft.no_cut, "wrong kind"),
            resample=True,
            to_do=(*draft.to_do, "Take a petiole sample: there is no usable result to decide on."),
        )
        why = "There is no result with a band of its kind and date, so nothing is changed."
        return fires(OWN_RULE, saw, why, draft, "no change allowed")
    if not facts.not_used:
        return quiet(_KINDS, saw, "Every result has a band of its own kind.", draft)
    why = "Results without a band of their crop, tissue, basis and date are shown but not used."
    return fires(_KINDS, saw, why, draft)


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def stale(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A result that is too old decides nothing."""
    limit = policy.stale_days
    if facts.primary is None:
        return quiet(limit, "no result", "There is no result.", draft)
    age = (facts.on - facts.primary.sampled).days
    saw = f"sampled {short_day(facts.primary.sampled)}, {_days(age)} ago; limit {limit.value:g}"
    if age <= limit.value:
        return quiet(limit, saw, "The sample is fresh enough.", draft)
    draft = draft._replace(
        no_raise=(*draft.no_raise, "stale"),
        no_cut=(*draft.no_cut, "stale"),
        fresh=False,
        resample=True,
        to_do=(*draft.to_do, "Sample again now: the latest result is too old to decide on."),
    )
    why = f"The latest sample is {_days(age)} old, so it decides nothing."
    return fires(limit, saw, why, draft, "no change allowed")


def recalled_band(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A band written from memory is not the only basis of a cut unless the grower consents."""
    consent = policy.recalled_may_cut
    if facts.primary is None or facts.primary.band.evidence is not Evidence.RECALLED:
        return quiet(consent, "band not from memory", "The band was not written from memory.", draft)
    band = facts.primary.band
    saw = f"row {band.row} of {band.table} is recalled"
    draft = draft._replace(
        to_do=(*draft.to_do, f"Check the band against {band.source}: it was written from memory.")
    )
    if consent.value:
        return fires(consent, saw, "The band is from memory; the season file consents to cuts on it.", draft)
    draft = draft._replace(no_cut=(*draft.no_cut, "recalled band"))
    why = "The band is from memory, so no cut is made on it alone (recalled_may_cut in [policy] allows it)."
    return fires(consent, saw, why, draft, "no cut allowed")


def lag_days(facts: Facts, policy: Policy) -> Figure:
    """The lag that fits the mix: the longer one when little of its nitrogen is nitrate."""
    slow = facts.nitrate_share is not None and facts.nitrate_share < policy.slow_mix_below.value
    return policy.lag_ammonium_days if slow else policy.lag_nitrate_days


def review_days(facts: Facts, policy: Policy) -> int:
    """Days from the next sample to the review of the rate: those of the laboratory, and some for a late result.

    None for a late result where leaf nitrogen decides, or is low beside a petiole: the raise that is published on
    it is for two weeks (UGA-AESL).
    """
    decides = facts.primary is not None and facts.primary.tissue is Tissue.LEAF
    low = facts.leaf is not None and compared(facts.leaf, policy).sure is Side.BELOW
    late = 0.0 if decides or low or policy.late_days is None else policy.late_days.value
    return int(policy.laboratory_days.value + late)


def too_soon(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """A sample taken before a change can show does not justify another one in the same direction."""
    lag = lag_days(facts, policy)
    shift = facts.last_shift
    if facts.primary is None or shift is None:
        return quiet(lag, "no earlier change", "No change is waiting to show.", draft)
    days = (facts.primary.sampled - shift.on).days
    word = "raise" if shift.direction > 0 else "cut"
    last = "return to plan" if shift.ran_out else f"last {word}"
    when = f"{_days(days)} after" if days >= 0 else f"{_days(-days)} before it"
    saw = f"{last} from {short_day(shift.on)}, sampled {when}; lag {lag.value:g} days"
    if days >= lag.value:
        return quiet(lag, saw, "The sample is late enough to show the last change.", draft)
    if shift.direction > 0:
        draft = draft._replace(settled=False, no_raise=(*draft.no_raise, "too soon"))
    else:
        draft = draft._replace(settled=False, no_cut=(*draft.no_cut, "too soon"))
    why = f"The sample was taken before the {last} could show, so it cannot justify another {word}."
    return fires(lag, saw, why, draft, f"no further {word} allowed")


def few_petioles(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Fewer petioles than the protocol asks for make the result less sure."""
    asked = policy.protocol_count
    reading = facts.primary
    if reading is None:
        return quiet(asked, "no result", "There is no result.", draft)
    parts = budget(reading, policy)
    draft = draft._replace(parts=parts, relative=combined(part.relative for part in parts))
    total = f"uncertainty {100 * draft.relative:.0f} % in all"
    if reading.petioles is None:
        saw = f"number not noted, taken as {asked.value:g}; {total}"
        draft = draft._replace(to_do=(*draft.to_do, "Note the number of petioles with the next sample."))
        return fires(asked, saw, "The number was not noted; the protocol's number is assumed.", draft)
    saw = f"{reading.petioles} taken, {asked.value:g} asked for; {total}"
    if reading.petioles >= asked.value:
        return quiet(asked, saw, "The sample holds as many as the protocol asks for.", draft)
    draft = draft._replace(to_do=(*draft.to_do, f"Take at least {asked.value:g} leaves next time."))
    why = f"Only {reading.petioles} were taken, so the result counts as less sure."
    return fires(asked, saw, why, draft, "wider uncertainty")


def duplicates_disagree(facts: Facts, policy: Policy, draft: Draft) -> Outcome:
    """Results of one day further apart than the repeatability limit: mean used, wider uncertainty."""
    reading = facts.primary
    if reading is None or reading.count < 2:
        return quiet(_REPEATABILITY, "no duplicate", "There is one result of that day.", draft)
    limit, device = repeatability(reading, policy), _device(reading, policy)[2]
    backing = backed_by(_REPEATABILITY, device, policy.within_laboratory, evidence=Evidence.DERIVED)
    saw = (
        f"{reading.count} results of {short_day(reading.sampled)}, {100 * reading.spread:.0f} % apart; "
        f"limit {100 * limit:.0f} %"
    )
    if not disagree(reading, policy):
        return quiet(backing, saw, "The duplicates agree; their mean is used.", draft)
    draft = draft._replace(to_do=(*draft.to_do, "Ask the laboratory about the duplicates that disagree."))
    why = "The duplicates lie too far apart; their mean is used and counts as less sure."
    return fires(backing, saw, why, draft, "wider uncertainty")
