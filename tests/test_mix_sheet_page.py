"""The page that is carried to the tank: sound HTML that holds the whole sheet and nothing that runs."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

import pytest

from fertadjust.feeding import Farm
from fertadjust.mix_sheet import MixSheet
from fertadjust.mix_sheet_data import Data, mix_sheet_data
from fertadjust.mix_sheet_page import mix_sheet_html
from fertadjust.season_file import SeasonFile, parse_season
from fertadjust.shipped import folder
from tests.test_report import Page
from tests.test_season_file import edited

SAMPLE = (folder("sample_data") / "strawberry" / "season.toml").read_text(encoding="utf-8")
ON = date(2026, 3, 1)
HOSTILE = "<script>alert(1)</script>"
INJECTION = SAMPLE[SAMPLE.index("[injection]") : SAMPLE.index("[zones.creek]")]
METRIC = (
    ('units = "us"', 'units = "metric"'),
    ("water_temperature = 55", "water_temperature = 12"),
    ("tank = 50", "tank = 1000"),
    ("pump_rate = 20", "pump_rate = 400"),
)
LIQUID = (
    ('name = "calcium nitrate"\nmaterial = "calcium_nitrate"', 'name = "calcium nitrate"\nmaterial = "uan_32"'),
)
ZONE_OF_TWO = (
    ('[zones.creek]\nblocks = ["creek"]', '[zones.creek]\nblocks = ["creek", "lane"]'),
    ('[zones.lane]\nblocks = ["lane"]\nflow = 380\nset_minutes = 120\n', ""),
)
PUMP = "pump_rate = 20"
TEXTS = {
    "sample": SAMPLE,
    "one tank": edited(("tanks = 2", "tanks = 1"), text=SAMPLE),
    "no injection": edited((INJECTION, ""), text=SAMPLE),
    "no injector": edited((PUMP, ""), text=SAMPLE),
    "ratio": edited((PUMP, "ratio = 100"), text=SAMPLE),
    "ratio without one flow": edited(
        (PUMP, "ratio = 100"), ("parts = { hill = 0.5 }\nflow = 1500", "parts = { hill = 0.5 }"), text=SAMPLE
    ),
    "no travel time": edited(("travel_minutes = 20", ""), text=SAMPLE),
    "metric": edited(*METRIC, text=SAMPLE),
    "liquid": edited(*LIQUID, text=SAMPLE),
    "zone of two": edited(*ZONE_OF_TWO, text=SAMPLE),
    "hostile": edited(
        ('name = "Larkrise Farm (invented)"', f"name = '{HOSTILE}'"),
        ('name = "Hill top"', f"name = '{HOSTILE} & \"hill\"'"),
        ('name = "Hill, upper valve"', f"name = '{HOSTILE}'"),
        text=SAMPLE,
    )
    .replace('name = "calcium nitrate"', f"name = '{HOSTILE}'")
    .replace('"calcium nitrate" =', f"'{HOSTILE}' ="),
}


def weighed(value: float) -> str:
    """Two decimals, three below one, so that a small weight is not told 5 % off."""
    return f"{value:,.2f}" if value >= 1 else f"{value:.3f}"


def sheet_of(name: str, block: str = "hill", week: int = 5) -> tuple[SeasonFile, MixSheet]:
    """A season and its sheet of a block; of the zone where the block shares one."""
    file = parse_season(TEXTS[name], Path())
    farm = Farm(file.blocks, file.injecting, file.units)
    if name == "zone of two":
        return file, farm.zone_sheet("creek", ON, 2)
    return file, farm.block_sheet(block, ON, week)


def data_of(name: str, block: str = "hill", week: int = 5) -> Data:
    file, sheet = sheet_of(name, block, week)
    return mix_sheet_data(sheet, file.injecting, file.units)


def page(name: str, block: str = "hill", week: int = 5, on: date = ON) -> str:
    file, sheet = sheet_of(name, block, week)
    return mix_sheet_html(sheet, file.injecting, file.units, farm=file.farm, on=on, program="fertadjust of a test")


def words(html: str) -> str:
    return Page(html).text


@pytest.fixture(params=TEXTS)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


# --- a sound page -------------------------------------------------------------------------------------------


def test_the_page_is_well_formed(name: str) -> None:
    html = page(name)
    found = Page(html)
    assert html.startswith("<!DOCTYPE html>")
    assert found.all("html")[0].attrs["lang"] == "en"
    assert all(len(found.all(tag)) == 1 for tag in ("head", "body", "header", "main", "footer", "title", "h1"))
    assert next(item.name for item in found.all("h1", "h2", "h3", "h4")) == "h1"
    assert not found.all("h3", "h4")


def test_no_paragraph_holds_what_it_may_not(name: str) -> None:
    found = Page(page(name))
    blocks = {"p", "ul", "ol", "div", "table", "section", "h2"}
    assert not [item for item in found.elements if item.name in blocks and "p" in item.path]
    assert not [item for item in found.all("li") if item.path[-1] != "ul"]
    assert not [item for item in found.all("ul") if not re.search(r"\w", item.text)]


def test_nothing_is_fetched_run_or_linked(name: str) -> None:
    found = Page(page(name))
    assert not found.all("script", "a", "link", "iframe", "img", "object", "embed", "form", "base")
    for item in found.elements:
        for key, value in item.attrs.items():
            assert not key.startswith("on")
            assert key not in {"src", "href", "action", "data"}
            assert "//" not in (value or "")
    [style] = found.all("style")
    assert "url(" not in style.text
    assert "@import" not in style.text
    [policy] = [item for item in found.all("meta") if item.attrs.get("http-equiv") == "Content-Security-Policy"]
    assert policy.attrs["content"] == "default-src 'none'; style-src 'unsafe-inline'"


def test_tables_have_captions_and_scopes_and_rows_as_wide_as_their_headings(name: str) -> None:
    html = page(name)
    found = Page(html)
    assert len(found.all("table")) == len(found.all("caption")) == len(found.all("thead")) >= 2
    assert all(item.attrs.get("scope") in {"col", "row"} for item in found.all("th"))
    for table in re.findall(r"<table.*?</table>", html, re.S):
        widths = {_width(row) for row in re.findall(r"<tr.*?</tr>", table, re.S)}
        assert len(widths) == 1, table


def _width(row: str) -> int:
    cells = re.findall(r"<t[hd]\b[^>]*>", row)
    return sum(int(found[1]) if (found := re.search(r'colspan="(\d+)"', cell)) else 1 for cell in cells)


def test_every_row_of_a_table_begins_with_its_heading_or_its_tank(name: str) -> None:
    for body in re.findall(r"<tbody>(.*?)</tbody>", page(name), re.S):
        for row in re.findall(r"<tr.*?</tr>", body, re.S):
            assert row.count('<th scope="row">') == 1


def test_the_same_arguments_give_the_same_page(name: str) -> None:
    assert page(name) == page(name)


def test_the_day_as_of_which_it_is_made_shows() -> None:
    other = page("sample", on=date(2026, 3, 20))
    assert "Rates as decided by Fri 20 Mar 2026." in words(other)
    assert page("sample") == other.replace("Fri 20 Mar 2026", "Sun 1 Mar 2026")


def test_what_people_wrote_shows_as_text() -> None:
    html = page("hostile")
    text = words(html)
    assert "<script" not in html
    assert not Page(html).all("script")
    assert f'Mix sheet: {HOSTILE} & "hill", week 5' in text
    assert f"{HOSTILE}. Mon 30 Mar 2026 to Sun 5 Apr 2026." in text
    assert f"A {HOSTILE} 15.5-0-0 " in text
    assert text.count(HOSTILE) >= 5
    assert "<title>Mix sheet, &lt;script&gt;alert(1)&lt;/script&gt; &amp; &#34;hill&#34;, week 5</title>" in html


# --- all that the sheet holds -------------------------------------------------------------------------------


def test_every_product_has_its_tank_weight_volume_and_boxes(name: str) -> None:
    html, data = page(name), data_of(name)
    rows = [
        [" ".join(re.sub(r"<[^>]*>", " ", cell).split()) for cell in re.findall(r"<t[hd]\b.*?</t[hd]>", row, re.S)]
        for row in re.findall(r'<tr><td class="big">.*?</tr>', html, re.S)
    ]
    unit, expected = data["units"], []
    for feed in data["feeds"]:
        for tank in feed["tanks"]:
            for part in tank["products"]:
                volume = "dry" if part["volume"] is None else f"{weighed(part['volume'])} {unit['volume']}"
                label = f"{part['product']} {part['grade']}".replace("<", "&lt;").replace(">", "&gt;")
                weight = f"{weighed(part['weight'])} {unit['weight']}"
                expected.append([tank["tank"], label, weight, volume, "", ""])
    assert rows == expected
    assert len(rows) >= (1 if name == "zone of two" else 3)
    boxes = html.count('<td class="box"></td>')
    assert boxes == len(rows) + sum(len(feed["runs"]) for feed in data["feeds"])


def test_liquids_are_measured_by_volume() -> None:
    text = words(page("liquid"))
    [part] = [
        part
        for feed in data_of("liquid")["feeds"]
        for tank in feed["tanks"]
        for part in tank["products"]
        if part["volume"] is not None
    ]
    assert part["volume"] == pytest.approx(part["weight"] / 11.06)
    assert f"{weighed(part['volume'])} gal" in text


def test_the_stock_solution_and_the_minutes_of_every_zone_show() -> None:
    text, data = words(page("sample")), data_of("sample")
    [feed] = data["feeds"]
    for index, tank in enumerate(feed["tanks"]):
        assert f"Tank {tank['tank']}: half fill with water of 55 °F or warmer" in text
        assert f"make up to {tank['volume']:.1f} gal" in text
        shown = re.findall(r"Never less than ([\d.]+) gal\.", text)[index]
        assert tank["least"] <= float(shown) < tank["least"] * 1.01 + 0.001  # rounded up, never down
    assert [run["name"] for run in feed["runs"]] == ["Hill, upper valve", "Hill, lower valve"]
    for run in feed["runs"]:
        shown = f"{run['name']} {weighed(run['n'])} lb 20 min {run['minutes']:.0f} min 20 min "
        assert f"{shown}{run['least_set_minutes']:.0f} min {run['ppm']:.0f} ppm" in text
    assert "Inject, pump at 20 gal/h from each tank" in text
    assert "Keep the concentrates of the tanks apart" in text


def test_a_zone_of_two_blocks_names_both_and_feeds_them_together() -> None:
    text, data = words(page("zone of two")), data_of("zone of two")
    assert "Mix sheet: Creek side and Lane end, week 2" in text
    assert [member["name"] for member in data["blocks"]] == ["Creek side", "Lane end"]
    for member in data["blocks"]:
        assert f"{member['name']}: {member['area']:.4f} ac, {member['rate']:.2f} lb N/ac/week" in text


def test_one_tank_shows_both_feeds_and_how_often_each() -> None:
    html, data = page("one tank"), data_of("one tank")
    text = words(html)
    assert [feed["count"] for feed in data["feeds"]] == [1, 1]
    first, second = text.split("Feed 2 of 2, 1 time in the week: Into the tank ")
    assert "Feed 1 of 2, 1 time in the week: Into the tank " in first
    assert "calcium nitrate 15.5-0-0" in first and "Epsom salt" not in first
    assert "Epsom salt 0-0-0" in second and "calcium nitrate 15.5-0-0" not in second.partition("Cautions")[0]
    assert "One tank for products that must not meet: feed them on different days, and rinse between." in first
    assert "Keep the concentrates of the tanks apart" not in text


def test_without_water_or_injector_the_weights_stand_alone_with_a_note() -> None:
    text = words(page("no injection"))
    assert "The water's temperature is not set under [injection], so no volume can be given." in text
    assert "make up to" not in text
    assert " min " not in text.partition("Cautions")[0]
    injectorless = words(page("no injector"))
    assert "make up to" in injectorless
    assert "No pump_rate or ratio is set under [injection], so no minutes can be given." in injectorless


def test_an_unknown_flow_says_so_in_its_row() -> None:
    text = words(page("ratio without one flow"))
    assert "Hill, upper valve: a proportional injector needs the zone's flow for its minutes." in text
    assert "minutes not known" in text
    assert "Hill, lower valve" in text and " ppm" in text.partition("Cautions")[0]


def test_metric_pages_hold_no_us_unit() -> None:
    text = words(page("metric")).partition("Cautions")[0]
    for unit in ("kg N/ha/week", " kg", " L", " ha,", "12 °C", "400 L/h"):
        assert unit in text
    for unit in (" lb", " gal", " ac,", "°F"):
        assert unit not in text


def test_every_caution_shows_and_what_is_from_memory_is_marked(name: str) -> None:
    html, data = page(name), data_of(name)
    [block] = re.findall(r'<ul class="cautions">(.*?)</ul>', html, re.S)
    shown = [" ".join(re.sub(r"<[^>]*>", "", item).split()) for item in re.findall(r"<li>.*?</li>", block, re.S)]
    assert len(shown) == len(data["cautions"]) >= 8
    flagged = [": check before relying on it)" in item for item in shown]
    assert flagged == [item["evidence"] == "recalled" for item in data["cautions"]]
    assert any(flagged) and not all(flagged)
    for item, caution in zip(shown, data["cautions"], strict=True):
        assert caution["source"] in {"none", *re.findall(r"\(([^()]*), published\)$", item)}


def test_lines_to_sign_are_on_the_page(name: str) -> None:
    html = page(name)
    [sign] = re.findall(r'<section class="sign".*?</section>', html, re.S)
    assert re.findall(r"<p>(.*?)</p>", sign) == ["Date and time", "Mixed by", "Injected by", "Anything unusual"]
    assert "fertadjust of a test." in words(html)
