"""The report: a sound page, whatever the season holds and whatever people wrote."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest

from fertadjust import words
from fertadjust.bands import BandTable
from fertadjust.evidence import Evidence
from fertadjust.field import AreaBasis, Block
from fertadjust.ledger import Application
from fertadjust.observations import Observation, Sight
from fertadjust.pages import cited_in
from fertadjust.plan import Change, Credit, Plan
from fertadjust.products import Product
from fertadjust.report import report_html
from fertadjust.report_parts import area_words
from fertadjust.rules.facts import Action
from fertadjust.rules.policy import Policy, with_overrides
from fertadjust.season import BlockSeason
from fertadjust.shipped import citations, shipped_policy, shipped_policy_files, shipped_tables
from fertadjust.stages import StageDates
from fertadjust.stored import Decided, Replaced
from fertadjust.tissue import Basis, Censor, Method, Tissue, TissueResult
from fertadjust.units import KG_HA_PER_LB_AC, UnitSystem

BLOOM = date(2026, 3, 2)
ON = date(2026, 4, 8)
HOSTILE = "<script>alert('x')</script> & \"quotes\" {{ 7 * 7 }} <b>"
PETIOLE, LEAF = "strawberry-petiole-dry-us-southeast", "strawberry-leaf-georgia"
RECALLED = "strawberry-leaf-us-southeast-recalled"
VOID = {"meta", "br", "hr", "img", "input", "link", "path", "rect", "use"}
CHART = (
    '<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 300" width="800" '
    'height="300" role="img" aria-label="chart"><rect x="1" y="1" width="798" height="298" fill="none"/></svg>'
)


def result(record: int, sampled: date, value: float, **more: Any) -> TissueResult:
    given: dict[str, Any] = {
        "received": sampled + timedelta(days=2),
        "tissue": Tissue.PETIOLE,
        "basis": Basis.DRY,
        "analyte": "NO3-N",
        "petioles": 25,
        "laboratory": "State laboratory",
        "reported": f"{value:g} ppm NO3-N",
    }
    return TissueResult(record, "north", sampled, value=value, **(given | more))


def leaf(record: int, sampled: date, analyte: str, value: float) -> TissueResult:
    return result(record, sampled, value, tissue=Tissue.LEAF, analyte=analyte, reported=f"{value:g} {analyte}")


def table_named(name: str) -> BandTable:
    """A shipped table; of the recalled one only what the other leaf table lacks."""
    table = shipped_tables()[name]
    if name != RECALLED:
        return table
    return table.model_copy(update={"rows": tuple(row for row in table.rows if row.analyte not in {"S", "B"})})


def blank(policy: Policy | None = None, tables: tuple[str, ...] = (PETIOLE, LEAF, RECALLED)) -> BlockSeason:
    """A season with a plan and without any record."""
    return BlockSeason(
        block=Block(
            "north", "North field", 300.0, 10, 2.5, 5.0, AreaBasis.BED, soil="sandy loam", cultivar="Ruby"
        ),
        plan=Plan(
            start=BLOOM,
            rates_lb_ac=(5.25,) * 12,
            basis=AreaBasis.BED,
            injections_per_week=2,
            floor_lb_ac=3.0,
            ceiling_lb_ac=7.0,
            cap_lb_ac=120.0,
            rate_step_lb_ac=0.05,
            credits=(
                Credit("preplant, banded", 60.0, "UGA-2021", Evidence.PUBLISHED),
                Credit("cover crop", 5.0, "MD-NUTRIENT", Evidence.RECALLED),
            ),
        ),
        stages=StageDates({"first_bloom": BLOOM}, BLOOM + timedelta(days=83), frozenset({"first_bloom"})),
        products=(
            Product("potassium nitrate", {"n": 13.0, "k2o": 45.0}, 0.4, nitrate_n=13.0),
            Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, 0.4, nitrate_n=14.4),
            Product("urea ammonium nitrate", {"n": 32.0}, 0.2, density_lb_gal=11.06, nitrate_n=8.0),
        ),
        policy=policy or shipped_policy("strawberry-annual-plasticulture"),
        tables=tuple(table_named(name) for name in tables),
    )


def full(policy: Policy | None = None) -> BlockSeason:
    """A season with results of all sorts, applications, observations and a decision."""
    sap = result(9, date(2026, 3, 30), 450.0, basis=Basis.SAP, method=Method.METER, petioles=None)
    return replace(
        blank(policy),
        results=(
            result(1, date(2026, 3, 10), 4700.0),
            result(2, date(2026, 3, 23), 3300.0, note=HOSTILE),
            result(3, date(2026, 4, 6), 2050.0, received=date(2026, 4, 8)),
            leaf(4, date(2026, 4, 6), "N", 2.9),
            leaf(5, date(2026, 4, 6), "K", 1.3),
            leaf(6, date(2026, 4, 6), "Zn", 12.0),
            result(7, date(2026, 4, 6), 2000.0, censor=Censor.BELOW, received=None, petioles=None),
            result(8, ON, 900.0, received=ON + timedelta(days=2), sample_id="not-yet-known"),
            sap,
        ),
        applications=tuple(
            Application(10 + k, "north", BLOOM + timedelta(days=7 * k), 5.25) for k in (0, 1, 3, 4)
        ),
        observations=(
            Observation(20, "north", date(2026, 3, 12), Sight.FROST, note="light"),
            Observation(21, "north", date(2026, 4, 4), Sight.LEACHING_RAIN, note=HOSTILE),
            Observation(22, "north", date(2026, 4, 5), Sight.SOIL_NITRATE, 6.0),
            Observation(23, "north", date(2026, 4, 5), Sight.OTHER, note="mites"),
        ),
        changes=(Change(date(2026, 3, 25), date(2026, 3, 30), date(2026, 4, 9), 1.0, {5: 5.25, 6: 5.25}, 30),),
    )


DECISIONS = (
    Decided(30, date(2026, 3, 25), "R. Grower", "leave", Action.HOLD, "Hold nitrogen.", HOSTILE, {}, 1.0),
    Decided(
        31, ON, HOSTILE, "change", Action.RAISE, "Raise nitrogen.", "own trial", {7: 6.0, 8: 6.0, 9: 5.5}, 1.1
    ),
    Decided(32, ON + timedelta(days=1), "someone later", "accept", Action.HOLD, "Hold.", "", {}, 1.0),
)


def overridden() -> Policy:
    data = shipped_policy_files()["strawberry-annual-plasticulture"].data
    own = {
        "confidence": {"value": 0.9, "reason": HOSTILE},
        "after_recovery": "keep",
        "recalled_may_cut": {"value": True, "reason": "agreed with MINER-1997 in hand"},
        "cross_check": {"low-rain": {"value": "half", "reason": "our beds drain slowly"}},
        "companions": {"potassium": 1.2},
    }
    return Policy.model_validate(with_overrides(data, own))


def page(season: BlockSeason, on: date = ON, **more: Any) -> str:
    given: dict[str, Any] = {
        "farm": HOSTILE,
        "units": UnitSystem.US,
        "decisions": (),
        "charts": [(CHART, CHART)],
        "program": "fertadjust 0",
    }
    return report_html(season, season.advice(on), **(given | more))


PAGES: dict[str, Callable[[], str]] = {
    "full": lambda: page(full(), decisions=DECISIONS, notes=(HOSTILE,)),
    "own policy": lambda: page(full(overridden()), decisions=DECISIONS),
    "metric": lambda: page(full(), units=UnitSystem.METRIC, decisions=DECISIONS),
    "no result": lambda: page(blank()),
    "before the plan": lambda: page(blank(), BLOOM - timedelta(days=9)),
    "after the plan": lambda: page(full(), BLOOM + timedelta(days=120)),
    "no table fits": lambda: page(replace(full(), tables=(shipped_tables()[RECALLED],))),
    "bare plan": lambda: page(
        replace(blank(), plan=replace(blank().plan, cap_lb_ac=None, credits=(), injections_per_week=1))
    ),
}


@dataclass
class Element:
    name: str
    attrs: dict[str, str | None]
    path: tuple[str, ...]
    text: str = ""


@dataclass
class Page(HTMLParser):
    """The elements of a page in order; complains about tags that do not balance."""

    html: str
    elements: list[Element] = field(default_factory=list)
    stack: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.feed(self.html)
        self.close()
        assert not self.stack, [item.name for item in self.stack]

    def __hash__(self) -> int:
        return id(self)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(attrs) == len(dict(attrs)), f"an attribute stands twice on {tag}"
        element = Element(tag, dict(attrs), tuple(item.name for item in self.stack))
        self.elements.append(element)
        if tag not in VOID:
            self.stack.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append(Element(tag, dict(attrs), tuple(item.name for item in self.stack)))

    def handle_endtag(self, tag: str) -> None:
        assert self.stack, f"</{tag}> closes nothing"
        assert self.stack[-1].name == tag, f"</{tag}> closes <{self.stack[-1].name}>"
        self.stack.pop()
        if tag in {"td", "th", "dt", "dd", "li"}:
            self.handle_data(" ")

    def handle_data(self, data: str) -> None:
        for element in self.stack:
            element.text += data

    def all(self, *names: str) -> list[Element]:
        return [item for item in self.elements if item.name in names]

    @property
    def text(self) -> str:
        return " ".join(self.all("body")[0].text.split())


@pytest.fixture(params=PAGES, name="html")
def _html(request: pytest.FixtureRequest) -> str:
    return PAGES[request.param]()


ORDER = (
    "The decision and why",
    "The season so far",
    "The evidence",
    "The rules",
    "Amounts before and after",
    "What would change it",
    "The ledger and the decisions",
    "Limits",
    "Cautions",
    "Sources",
    "Signatures",
)


def enumerate_text(texts: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    return ((str(number), text) for number, text in enumerate(texts, 1))


def section(html: str, number: int) -> str:
    """The text of one numbered section."""
    found = [item for item in Page(html).all("section") if item.text.strip().startswith(f"{number}. ")]
    assert len(found) == 1
    return " ".join(found[0].text.split())


def test_the_page_is_well_formed(html: str) -> None:
    found = Page(html)
    ids = Counter(item.attrs["id"] for item in found.elements if "id" in item.attrs)
    assert not [name for name, count in ids.items() if count > 1]
    assert html.startswith("<!DOCTYPE html>")
    assert "<?xml" not in html
    assert found.all("html")[0].attrs["lang"] == "en"
    assert all(len(found.all(name)) == 1 for name in ("header", "main", "footer", "title", "h1"))


def test_no_paragraph_holds_what_it_may_not(html: str) -> None:
    blocks = {"p", "ul", "ol", "dl", "div", "table", "section", "h2", "h3"}
    assert not [item for item in Page(html).elements if item.name in blocks and "p" in item.path]
    assert not [item for item in Page(html).all("li") if item.path[-1] not in {"ul", "ol"}]


def test_headings_do_not_skip_a_level(html: str) -> None:
    levels = [int(item.name[1]) for item in Page(html).all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert re.findall(r"<h2>(\d+)\. (.*?)</h2>", html) == list(enumerate_text(ORDER))


def test_tables_have_captions_scopes_and_a_region_to_scroll_in(html: str) -> None:
    found = Page(html)
    tables = found.all("table")
    assert len(tables) == len(found.all("caption")) == len(found.all("thead"))
    assert all(item.attrs.get("scope") in {"col", "row", "colgroup"} for item in found.all("th"))
    regions = [item for item in found.all("div") if item.attrs.get("class", "").startswith("scroll")]
    assert len(regions) == len(tables) + 2
    for region in regions:
        assert region.attrs["tabindex"] == "0"
        assert region.attrs["role"] == "region"
        assert region.attrs["aria-label"]
    labels = [region.attrs["aria-label"] for region in regions]
    assert len(labels) == len(set(labels))


def test_rows_are_as_wide_as_their_headings(html: str) -> None:
    for table in re.findall(r"<table.*?</table>", html, re.S):
        head, body = table.split("</thead>")
        rows = [_width(row) for row in re.findall(r"<tr.*?</tr>", body, re.S)]
        first = re.findall(r"<tr.*?</tr>", head, re.S)[0]
        assert set(rows) <= {_width(first)}, table[:200]


def _width(row: str) -> int:
    cells = re.findall(r"<t[hd]\b[^>]*>", row)
    return sum(int(found[1]) if (found := re.search(r'colspan="(\d+)"', cell)) else 1 for cell in cells)


def test_nothing_is_fetched_run_or_linked(html: str) -> None:
    found = Page(html)
    assert not found.all("script", "a", "link", "iframe", "img", "object", "embed", "form")
    for item in found.elements:
        for name, value in item.attrs.items():
            assert not name.startswith("on")
            assert name not in {"src", "href", "action", "data", "xlink:href"}
            assert name.startswith("xmlns") or "//" not in (value or "")
    style = found.all("style")[0].text
    assert "url(" not in style
    assert "@import" not in style


def test_addresses_stand_only_in_citations(html: str) -> None:
    for address in re.findall(r"https?://\S+", Page(html).text):
        assert any(address in text for text in citations().values()), address


def test_every_source_key_has_its_citation(html: str) -> None:
    found = Page(html)
    listed = [item.text for item in found.all("dt")]
    for key in cited_in(found.text):
        assert key in listed
        assert citations()[key] in section(html, 10)
    assert set(listed) & set(citations()) == set(cited_in(found.text))


def test_keys_of_citations_are_cited_too() -> None:
    assert set(cited_in("see BOTTOMS-DRIS.")) == {"BOTTOMS-DRIS", "BOTTOMS-2013"}
    assert cited_in("XUGA-2021 and UGA-2021b and SPUDS") == {}


def test_what_people_wrote_shows_as_text() -> None:
    html = page(
        replace(full(overridden()), block=replace(full().block, name=HOSTILE, cultivar=HOSTILE, soil=HOSTILE)),
        decisions=DECISIONS,
        notes=(HOSTILE,),
    )
    assert not Page(html).all("script", "b")
    assert Page(html).text.count(HOSTILE) >= 10
    assert "<script" not in html


def test_the_same_arguments_give_the_same_page() -> None:
    assert PAGES["full"]() == PAGES["full"]()


def test_the_decision_comes_first() -> None:
    html = PAGES["full"]()
    season, text = full(), section(PAGES["full"](), 1)
    advice = season.advice(ON)
    assert advice.recommendation.action is Action.RAISE
    assert text.startswith("1. The decision and why Raise nitrogen from 5.25 to")
    assert all(item in text for item in advice.recommendation.to_do)
    assert "Changed by" in text
    assert "own trial" in text
    assert "6.00 in weeks 7 to 8; 5.50 in week 9" in text
    assert "someone later" not in html


def test_the_reason_takes_two_sentences_and_the_rest_stands_below() -> None:
    html = PAGES["full"]()
    box = html[html.index('class="verdict"') : html.index("How sure.")]
    texts = [re.sub(r"<[^>]*>", "", text).strip() for text in re.findall(r"<p[^>]*>(.*?)</p>", box, re.DOTALL)]
    headline, why = texts
    assert headline.count(". ") == 0
    assert len(re.findall(r"[.?!](?: |$)", why)) == 2
    assert why.startswith("Petiole NO3-N of")
    assert "measurement uncertainty" not in box


def test_decisions_show_the_first_result_after_them() -> None:
    text = section(PAGES["full"](), 7)
    after = next(item for item in full().later_readings(None, ON) if item.sampled > DECISIONS[0].on)
    assert f"{after.value:,.0f}" in text
    late = page(full(), decisions=[DECISIONS[0]._replace(on=ON)])
    assert "none yet" in section(late, 7)


def test_results_before_a_correction_or_a_void_are_told_with_the_reason() -> None:
    was = result(3, ON - timedelta(days=5), 231.0)
    now = replace(was, record=4, value=2310.0)
    replaced = [Replaced(was, now, f"a digit was lost {HOSTILE}"), Replaced(was, None, "wrong field")]
    text = section(page(full(), replaced=replaced), 3)
    assert "petiole NO3-N, dry weight 231 ppm: corrected to 2,310 ppm (record 4)" in text
    assert f"a digit was lost {HOSTILE}" in text
    assert "231 ppm: voided. Reason: wrong field" in text
    moved = [Replaced(was, replace(now, sampled=ON - timedelta(days=6)), "day")]
    assert "corrected to 2,310 ppm of" in section(page(full(), replaced=moved), 3)
    assert "corrected or voided" not in PAGES["full"]()


def test_a_result_that_was_moved_is_told_with_both_blocks() -> None:
    was = result(3, ON - timedelta(days=5), 2310.0)
    now = replace(was, record=4, block="south")
    text = section(page(full(), replaced=[Replaced(was, now, "wrong block")]), 3)
    assert (
        "petiole NO3-N, dry weight 2,310 ppm: moved from block north to block south as 2,310 ppm (record 4). "
        "Reason: wrong block"
    ) in text
    back = [Replaced(now, replace(was, record=5, value=2350.0), "it was right")]
    assert "moved from block south to block north as 2,350 ppm (record 5)" in section(
        page(full(), replaced=back), 3
    )


def test_a_result_whose_correction_was_not_known_yet_is_told_as_withdrawn() -> None:
    was = result(3, ON - timedelta(days=5), 2310.0)
    text = section(page(full(), replaced=[Replaced(was, None, "sent again", pending=True)]), 3)
    assert "2,310 ppm: withdrawn; what stands in its place was not known yet. Reason: sent again" in text
    assert "ppm: voided" not in text and "corrected to" not in text


def test_a_phone_gets_a_chart_of_its_own() -> None:
    both = page(full())
    assert both.count("<svg") == 2
    assert both.index('class="scroll page"') < both.index('class="scroll phone"')


def test_a_day_without_a_decision_says_so() -> None:
    assert "No decision of this day is on record." in section(page(full()), 1)


def test_amounts_follow_the_decision_of_the_day() -> None:
    change = Change(ON, date(2026, 4, 13), date(2026, 4, 23), 1.1, {7: 6.0, 8: 6.0}, 31)
    season = replace(full(), changes=(*full().changes, change))
    html = page(season, decisions=DECISIONS)
    assert "After: as decided on this day." in section(html, 5)
    assert "week 7 5.25 6.00" in section(html, 5)
    assert "Coming weeks as decided" in section(html, 7)
    assert "After: as advised on this day." in section(page(full()), 5)


def test_evidence_shows_what_was_known_and_its_part() -> None:
    text = section(PAGES["full"](), 3)
    assert "not-yet-known" not in PAGES["full"]()
    assert "2,050 ppm" in text
    assert "2050 ppm NO3-N" in text
    assert "3,000 to 5,000 ppm" in text
    assert "decides" in text
    assert "held beside the petiole" in text
    assert "earlier result" in text
    assert "a bound beside other results of the same day" in text
    assert "no band table in use is for petiole NO3-N, fresh sap" in text
    assert "below: at least" in text
    assert "sampling, 25 petioles" in text
    assert "first bloom Mon 2 Mar 2026 (a guess)" in text


def test_every_rule_stands_in_one_of_the_two_tables() -> None:
    text = section(PAGES["full"](), 4)
    for line in full().advice(ON).recommendation.trace:
        assert line.rule in text
        assert " ".join(line.saw.split()) in text
    fired, quiet = text.split("Rules that were looked at and changed nothing")
    assert "5 lb/ac K2O a week through the drip" in fired
    assert words.bounds_sentence(full().advice(ON).recommendation) in text
    assert "soft fruit or grey mould noted" in quiet


def test_amounts_show_both_rates_products_and_the_area() -> None:
    season, text = full(), section(PAGES["full"](), 5)
    week = season.advice(ON).weeks[0]
    assert "300 ft row length × 10 rows × 2.5 ft bed-top width ÷ 43,560 ft²/ac = 0.1722 ac" in text
    assert "per acre of bed top" in text
    for part in (*week.products_before, *week.products):
        assert part.product.name in text
        assert f"{part.weight_lb:.2f}" in text
    assert f"{week.products[2].volume_gal:.2f} gal" in text
    assert f"{week.nutrient_lb('k2o'):.2f}" in text
    assert f"{week.n_lb_injection:.2f}" in text
    assert "over the cap" in text


def test_metric_units_throughout() -> None:
    text = Page(PAGES["metric"]()).text
    assert "kg N/ha/week" in text
    assert "5.88" in section(PAGES["metric"](), 5)
    assert "91.44 m row length × 10 rows × 0.762 m bed-top width ÷ 10,000 m²/ha = 0.0697 ha" in text
    assert "per hectare of bed top" in text
    assert "gal" not in section(PAGES["metric"](), 5)
    assert "1 lb/ac is 1.1209 kg/ha" in section(PAGES["metric"](), 4)
    assert "1 lb/ac is" not in section(PAGES["full"](), 4)


def test_area_of_every_basis() -> None:
    block = replace(full().block, standard_spacing_ft=6.0)
    gross = area_words(replace(block, area_basis=AreaBasis.GROSS), UnitSystem.US)
    linear = area_words(replace(block, area_basis=AreaBasis.LINEAR_BED), UnitSystem.US)
    assert "5 ft bed spacing ÷ 43,560 ft²/ac = 0.3444 ac. Rates are per gross acre." in gross
    assert "6 ft standard bed spacing ÷ 43,560 ft²/ac = 0.4132 ac" in linear


def change_rows(season: BlockSeason, units: UnitSystem = UnitSystem.US) -> list[tuple[str, str]]:
    """The rows of the table of what would change the advice."""
    html = page(season, units=units)
    caption = f"The advice if one thing were otherwise, rates in {units.rate_unit}</span></caption>"
    assert html.count(caption) == 1
    table = Page(f"<table>{html.split(caption)[1].split('</table>')[0]}</table>")
    return list(
        zip(
            [item.text for item in table.all("th") if item.attrs.get("scope") == "row"],
            [item.text for item in table.all("td")],
            strict=True,
        )
    )


@pytest.mark.parametrize("value", [2050.0, 3900.0, 9000.0])
def test_flips_stand_in_order_around_the_result_and_alternatives_follow(value: float) -> None:
    season = replace(full(), results=(result(1, date(2026, 4, 6), value, received=ON),))
    advice = season.advice(ON)
    assert advice.flips
    rows = change_rows(season)
    results = [
        (f"the result were {'above' if flip.above else 'below'} {flip.value:,.0f} ppm", flip.action.value)
        for flip in advice.flips
    ]
    here = (f"the result were {value:,.0f} ppm, as it is", advice.recommendation.action.value)
    place = len([flip for flip in advice.flips if not flip.above])
    assert rows[: len(results) + 1] == [*results[:place], here, *results[place:]]
    assert rows[len(results) + 1 :] == [
        (item.condition, words.otherwise(item, UnitSystem.US)) for item in advice.alternatives
    ]
    assert len(advice.alternatives) == 4


def test_what_would_change_the_advice_is_said_in_the_seasons_unit() -> None:
    season = full()
    advice = season.advice(ON)
    assert words.would_change(advice, UnitSystem.METRIC) in section(page(season, units=UnitSystem.METRIC), 6)
    us, metric = change_rows(season), change_rows(season, UnitSystem.METRIC)
    assert [condition for condition, _ in us] == [condition for condition, _ in metric]
    changed = [(one, other) for (_, one), (_, other) in zip(us, metric, strict=True) if one != other]
    assert changed
    for one, other in changed:
        here, there = (float(text.split()[-1]) for text in (one, other))
        assert there == pytest.approx(here * KG_HA_PER_LB_AC, abs=0.01)


def test_where_no_result_would_change_it_the_table_still_has_the_alternatives() -> None:
    season = replace(full(), results=(result(1, date(2026, 3, 19), 2000.0),))
    advice = season.advice(ON)
    assert advice.flips == () and advice.alternatives
    rows = change_rows(season)
    assert [condition for condition, _ in rows] == [item.condition for item in advice.alternatives]
    assert "No result of that sample would change this" in section(page(season), 6)


def test_ledger_tells_logged_weeks_from_assumed_ones() -> None:
    text = section(PAGES["full"](), 7)
    assert "4 Mon 23 Mar 2026 5.25 5.25 +0.00 logged" in text
    assert "3 Mon 16 Mar 2026 5.25 not known not known nothing logged, counted at its target" in text
    assert "still running, nothing logged so far" in text
    assert "Credit: preplant, banded 60.00 UGA-2021, published" in text
    assert "Left under the cap 0.00" in text
    assert "Of the plan, kept back by the cap" in text
    assert "frost" in text
    assert "too old to count" in text
    assert "6 ppm NO3-N" in text
    assert "noted only" in text
    assert "states no season cap" in section(PAGES["bare plan"](), 7)


def test_limits_name_overrides_notes_and_figures_from_memory() -> None:
    text = section(PAGES["own policy"](), 8)
    assert "nearly worthless at peak harvest" in text
    assert "Misprint: UGA-2021 prints the low limit" in text
    assert "0.8 probability 0.9 probability" in text
    assert "ease keep season file" in text
    assert "no yes agreed with MINER-1997 in hand" in text
    assert re.search(r"cross_check\.low-rain rain washed nitrate .* full half our beds drain slowly", text)
    assert "companions.potassium limit for potassium 1.4 % 1.2 % season file" in text
    assert "recalled: check before relying on it band of leaf Zn, dry weight, 15 to 60 ppm" in text
    assert "confidence medium" in text
    assert "credit “cover crop” (MD-NUTRIENT, recalled)" in text
    assert "is used as shipped" in section(PAGES["full"](), 8)


def test_limits_of_the_test_are_those_of_the_crop() -> None:
    assert "nearly worthless" in section(page(full()), 8)
    melon = replace(full(), tables=(shipped_tables()["watermelon-petiole-sap-michigan"],))
    text = section(page(melon), 8)
    assert "Limits of the test" in text and "Florida and Michigan disagree on watermelon" in text
    assert "nearly worthless" not in text


def test_recalled_tables_carry_a_visible_mark() -> None:
    mark = '<strong class="mark">recalled: check before relying on it</strong>'
    assert mark in page(full())
    plain = replace(blank(tables=(PETIOLE, LEAF)), plan=replace(blank().plan, credits=()))
    assert mark not in page(plain)


def test_a_verdict_on_a_recalled_band_is_marked_at_once() -> None:
    table = shipped_tables()[PETIOLE]
    rows = [row | {"evidence": Evidence.RECALLED, "confidence": "medium"} for row in table.as_data()["rows"]]
    season = replace(full(), tables=(BandTable.model_validate(table.as_data() | {"rows": rows}),))
    assert "The band is recalled: check before relying on it." in section(page(season), 1)


def test_an_advice_without_any_result_still_makes_a_page() -> None:
    html = PAGES["no result"]()
    assert "There is no usable result." in section(html, 1)
    assert "No nitrogen result was known" in section(html, 3)
    assert "A usable result may change this." in section(html, 6)


def test_the_end_of_the_plan_leaves_nothing_to_change() -> None:
    assert "No week of the plan is left to change." in section(PAGES["after the plan"](), 5)
    assert "No week of the plan has begun." in section(PAGES["before the plan"](), 7)


def test_text_stands_out_enough() -> None:
    html = PAGES["full"]()
    style = Page(html).all("style")[0].text
    backgrounds = ("#ffffff", "#eef1ec", "#fff4e8")
    colours = set(re.findall(r"(?<![-\w])color: (#[0-9a-f]{6})", style))
    assert len(colours) >= 3
    for colour in colours:
        for background in backgrounds:
            assert _contrast(colour, background) >= 4.5


def _contrast(one: str, other: str) -> float:
    high, low = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
