"""What the rules are given, and what they hand on: facts, draft, outcome, recommendation.

Nothing here computes a recommendation; nothing here reads a file or a clock.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import NamedTuple, Protocol

from fertadjust.band_rows import Band
from fertadjust.compare import Comparison, Side
from fertadjust.evidence import NO_SOURCE, Evidence, split_sources
from fertadjust.ledger import Supply
from fertadjust.observations import Observation
from fertadjust.plan import PlanWeek, Shift
from fertadjust.rules.cross_table import (
    Cell,
    LeafState,
    PetioleState,
    SeenState,
    SoilState,
    SupplyState,
)
from fertadjust.tissue import Basis, Censor, Method, Tissue, format_value
from fertadjust.trend import Trend
from fertadjust.uncertainty import UncertaintyPart
from fertadjust.units import UnitSystem


@dataclass(frozen=True, slots=True)
class Reading:
    """What one kind of tissue showed on one day: a result, or the mean of several of that day.

    Attributes:
        sampled: sampling day.
        known: first day on which all of it was known.
        tissue, basis, analyte, unit: the kind and its stored unit.
        value: [unit], the mean when there are several.
        censor: "<" or ">" for a bound.
        count: number of results behind the value.
        spread: (largest - smallest) / mean of them; 0 for a single result.
        petioles: petioles or leaves in the sample, or None when not noted.
        method: laboratory or meter.
        band: its band on the sampling day.
        beside: the other bands it may belong to, were the stage wrong; see `BandTable.beside`.
        stage_guessed: whether a date that places the band is a guess.
        records: numbers of the records behind it.
    """

    sampled: date
    known: date
    tissue: Tissue
    basis: Basis
    analyte: str
    unit: str
    value: float
    censor: Censor
    count: int
    spread: float
    petioles: int | None
    method: Method
    band: Band
    beside: tuple[Band, ...]
    stage_guessed: bool
    records: tuple[int, ...]

    def text(self) -> str:
        """The value as people write it, for example "<10 ppm" or "3.10 %"."""
        return f"{self.censor.value}{format_value(self.value, self.unit)} {self.unit}"


class NotUsed(NamedTuple):
    """A result that is kept and shown but plays no part, and why."""

    record: int
    sampled: date
    text: str
    why: str


class Companion(NamedTuple):
    """Another nutrient on the same report, in its stored unit."""

    analyte: str
    value: float
    censor: Censor
    unit: str
    sampled: date


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything that a recommendation is made from.

    Attributes:
        on: day of the advice.
        units: units that the rules' words are in; they change nothing else.
        primary: the reading that decides: the latest petiole, else the latest leaf nitrogen; None without one.
        leaf: leaf nitrogen held beside a petiole, or None.
        earlier: (day, side) of earlier readings of the primary's kind, oldest first.
        not_used: results that play no part.
        trend: trend of band position over the primary's kind, or None.
        week: weeks since the policy's late anchor, or None when it has no date.
        supply: applied against planned before the primary's sample, or None.
        observations: recent field observations, oldest first.
        soil_nitrate: (day, ppm NO3-N) of the latest recent soil test, or None.
        soil_rain: day of the first leaching rain after that test, or None.
        factor: factor in force.
        overdue: review date that has passed without a new decision, or None.
        due: day of the sample that was asked for with the last decision, or None where it is not known.
        last_shift: the last move of the factor, or None.
        coming: weeks that a decision can still change.
        floor_lb_ac, ceiling_lb_ac, rate_step_lb_ac: bounds and metering step of a weekly rate [lb/ac].
        cap_lb_ac: season cap [lb/ac], or None.
        credits_lb_ac, logged_lb_ac, assumed_lb_ac, rest_of_week_lb_ac: what counts against the cap so far.
        nitrate_share: nitrate share of the mix's nitrogen, or None when a label is silent.
        mix: nutrient -> weight that comes with one pound of the mix's nitrogen [lb].
        companions: nutrients of recent leaf reports, latest first.
        raised_lb_ac: what each week that has begun was meant to get more than planned, oldest first [lb/ac].
    """

    on: date
    units: UnitSystem
    primary: Reading | None
    leaf: Reading | None
    earlier: tuple[tuple[date, Side | None], ...]
    not_used: tuple[NotUsed, ...]
    trend: Trend | None
    week: int | None
    supply: Supply | None
    observations: tuple[Observation, ...]
    soil_nitrate: tuple[date, float] | None
    soil_rain: date | None
    factor: float
    overdue: date | None
    last_shift: Shift | None
    coming: tuple[PlanWeek, ...]
    floor_lb_ac: float
    ceiling_lb_ac: float
    rate_step_lb_ac: float
    cap_lb_ac: float | None
    credits_lb_ac: float
    logged_lb_ac: float
    assumed_lb_ac: float
    rest_of_week_lb_ac: float
    nitrate_share: float | None
    mix: Mapping[str, float]
    companions: tuple[Companion, ...]
    raised_lb_ac: tuple[float, ...] = ()
    due: date | None = None


class Limit(NamedTuple):
    """What one bound allows, whether or not it is the one that binds.

    Attributes:
        name: the bound.
        factor: the factor that it would allow by itself.
    """

    name: str
    factor: float


class Draft(NamedTuple):
    """The recommendation while the rules work on it. Each rule gets one and returns one.

    Attributes:
        parts: uncertainty budget of the primary reading.
        relative: its relative standard uncertainty.
        comparison: primary reading against its band.
        leaf: leaf reading against its band.
        wanted: direction that the results call for: -1, 0, 1.
        early: direction of an early step on a trend: -1, 0, 1.
        leaf_state, soil_state, supply_state, seen_state: what the cross-check table is asked about.
        share: share of the step that the cross-check table allows.
        no_raise, no_cut: names of the rules that forbid it.
        fresh: whether the sample is recent enough to decide anything.
        settled: whether it was taken late enough to show the present rate.
        factor: factor on the planned rates.
        sought: the factor before any bound.
        limits: what each bound that has anything to say allows.
        weeks: the coming weeks that begin before the review.
        rates: resulting rates of those weeks [lb/ac].
        runs_out: whether the season cap is used up before the review.
        resample: whether the next sample should come sooner.
        next_sample, review: days, set by the rule "review date".
        moved_by: name of the rule that last moved the factor.
        binding: name of the bound that limits the result, or "".
        to_do: things for the grower to do.
    """

    parts: tuple[UncertaintyPart, ...] = ()
    relative: float = 0.0
    comparison: Comparison | None = None
    leaf: Comparison | None = None
    wanted: int = 0
    early: int = 0
    leaf_state: LeafState = LeafState.NONE
    soil_state: SoilState = SoilState.NONE
    supply_state: SupplyState = SupplyState.UNKNOWN
    seen_state: SeenState = SeenState.NOTHING
    share: float = 1.0
    no_raise: tuple[str, ...] = ()
    no_cut: tuple[str, ...] = ()
    fresh: bool = True
    settled: bool = True
    factor: float = 1.0
    sought: float = 1.0
    limits: tuple[Limit, ...] = ()
    weeks: tuple[PlanWeek, ...] = ()
    rates: tuple[float, ...] = ()
    runs_out: bool = False
    resample: bool = False
    next_sample: date | None = None
    review: date | None = None
    moved_by: str = ""
    binding: str = ""
    to_do: tuple[str, ...] = ()

    @property
    def direction(self) -> int:
        """Direction of the step in question, early steps included."""
        return self.wanted or self.early

    @property
    def highest(self) -> float:
        """The factor, or what was sought before a bound brought it down."""
        return max(self.factor, self.sought)

    def cell(self, petiole: PetioleState) -> Cell:
        """The cross-check cell for a state of the petiole, with everything else as it is."""
        return Cell(petiole, self.leaf_state, self.soil_state, self.supply_state, self.seen_state)


class Outcome(NamedTuple):
    """What one rule did.

    Attributes:
        fired: whether it had anything to say.
        saw: what it looked at.
        why: one sentence; for a rule that did not fire, why not.
        source, evidence: what stands behind the rule's figures.
        draft: the draft to go on with.
        change: "from -> to" when it moved or blocked something, else "".
    """

    fired: bool
    saw: str
    why: str
    source: str
    evidence: Evidence
    draft: Draft
    change: str = ""


class Backed(Protocol):
    """Anything that says where it comes from and how well it is known."""

    @property
    def source(self) -> str: ...
    @property
    def evidence(self) -> Evidence: ...


class Backing(NamedTuple):
    """Source and evidence of a rule that has no figure of its own."""

    source: str
    evidence: Evidence


def backed_by(*parts: Backed, evidence: Evidence = Evidence.PROJECT_RULE) -> Backing:
    """What stands behind something made of several figures: all their sources, and a word for the whole.

    Args:
        parts: the figures.
        evidence: the word, unless the grower set one of them.
    """
    keys = dict.fromkeys(key for part in parts for key in split_sources(part.source))
    own = any(part.evidence is Evidence.OWN for part in parts)
    return Backing("; ".join(keys) or NO_SOURCE, Evidence.OWN if own else evidence)


OWN_RULE = Backing(NO_SOURCE, Evidence.PROJECT_RULE)


def quiet(backing: Backed, saw: str, why: str, draft: Draft) -> Outcome:
    """The outcome of a rule that had nothing to say."""
    return Outcome(False, saw, why, backing.source, backing.evidence, draft)


def fires(backing: Backed, saw: str, why: str, draft: Draft, change: str = "") -> Outcome:
    """The outcome of a rule that had something to say."""
    return Outcome(True, saw, why, backing.source, backing.evidence, draft, change)


class TraceLine(NamedTuple):
    """One rule in the trace of a recommendation; fields as in `Outcome`."""

    group: str
    rule: str
    fired: bool
    saw: str
    change: str
    why: str
    source: str
    evidence: Evidence


class Action(StrEnum):
    RAISE = "raise"
    HOLD = "hold"
    CUT = "cut"


class Flip(NamedTuple):
    """A result from which on the action would be another.

    Attributes:
        value: [unit of the primary reading].
        action: action on the far side of it.
        above: True when the far side is above the value, False when it is below.
    """

    value: float
    action: Action
    above: bool


@dataclass(frozen=True, slots=True)
class Recommendation:
    """What the rules recommend, and how they came to it.

    Attributes:
        action: raise, hold or cut, against the rate in force.
        factor, standing_factor: recommended and present factor on the planned rates.
        weeks: the weeks it covers.
        rates_lb_ac, standing_rates_lb_ac: recommended and present rates of those weeks [lb/ac].
        next_sample, review: days.
        comparison, leaf: the readings against their bands, or None.
        parts, relative: uncertainty budget of the deciding reading and its sum.
        moved_by, binding: rule that moved the rate last, and the bound that limits it; "" for none.
        sought: the factor before any bound.
        limits: what each bound that has anything to say would allow by itself.
        runs_out: whether the season cap is used up before the review.
        to_do: things to do, most pressing first.
        trace: every rule in order, fired or not.
    """

    action: Action
    factor: float
    standing_factor: float
    weeks: tuple[PlanWeek, ...]
    rates_lb_ac: tuple[float, ...]
    standing_rates_lb_ac: tuple[float, ...]
    next_sample: date
    review: date
    comparison: Comparison | None
    leaf: Comparison | None
    parts: tuple[UncertaintyPart, ...]
    relative: float
    moved_by: str
    binding: str
    sought: float
    limits: tuple[Limit, ...]
    runs_out: bool
    to_do: tuple[str, ...]
    trace: tuple[TraceLine, ...]

    @property
    def outcome(self) -> tuple[object, ...]:
        """What it comes to, apart from its reasons: action, weeks, rates and review."""
        return self.action, tuple(week.number for week in self.weeks), self.rates_lb_ac, self.review

    def fired(self, rule: str) -> bool:
        """Whether a rule, by its name, had anything to say."""
        return any(line.rule == rule and line.fired for line in self.trace)
