"""``mix-sheet``, ``minutes``, ``purchase``, ``credits``, ``calendar``; and what ``check`` refuses."""

from __future__ import annotations

import json
import math
import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from fertadjust.api import open_season
from fertadjust.materials import Material
from fertadjust.mix_sheet_data import mix_sheet_data
from fertadjust.outputs import calendar_entries
from fertadjust.shipped import shipped_materials
from fertadjust.units import KG_HA_PER_LB_AC, KG_PER_LB
from tests.cli.conftest import TODAY, Refused, Run, contents, too_wide
from tests.test_report import Page

BEFORE = ["--on", "2026-03-01"]
NEW_KEYS = re.compile(r"^\[\[mixes\]\].*?(?=^\[blocks\.creek\])", re.S | re.M)


ROOMY_TANK = ("tank = 50", "tank = 500")
"""A tank that holds an injection of anything."""
POTASH = "potassium_nitrate"
"""The sample feeds it by its material's name already."""


def words(text: str) -> str:
    return " ".join(text.split())


def edit(where: Path, *edits: tuple[str, str]) -> Path:
    """The season file of a folder with each (old, new) replaced once; old must be there."""
    path = where / "season.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")
    return where


def before_feeding(where: Path) -> Path:
    """The season file without a key about feeding but the label and share of its products."""
    path = where / "season.toml"
    text = NEW_KEYS.sub("", path.read_text(encoding="utf-8"))
    start, end = text.index("[[products]]"), text.index("[blocks.creek]")
    label = '[[products]]\nname = "potassium nitrate"\ngrade = "13-0-45"\nnitrate_n = 13\nshare = 1.0\n\n'
    path.write_text(text[:start] + label + text[end:], encoding="utf-8")
    return where


def metric(where: Path) -> Path:
    return edit(
        where,
        ('units = "us"', 'units = "metric"'),
        ("water_temperature = 55", "water_temperature = 12"),
        ("tank = 50", "tank = 1000"),
        ("pump_rate = 20", "pump_rate = 400"),
    )


# --- mix-sheet ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("week", range(1, 13))
@pytest.mark.parametrize("block", ["creek", "hill", "lane"])
def test_the_sheet_fits_the_screen(run: Run, fresh: Path, block: str, week: int) -> None:
    output = run("mix-sheet", "--season", fresh, "--block", block, "--week", week, *BEFORE).output
    assert too_wide(output) == []


@pytest.mark.parametrize(
    "material",
    [item for key, item in shipped_materials().items() if item.drip and item.percent["n"] and key != POTASH],
    ids=lambda item: item.id,
)
def test_sheet_purchase_and_blend_of_a_product_by_its_materials_name_fit_the_screen(
    run: Run, fresh: Path, material: Material
) -> None:
    path = fresh / "season.toml"
    text = path.read_text(encoding="utf-8").replace('"calcium nitrate"', f'"{material.name}"')
    path.write_text(text, encoding="utf-8")
    density = "\ndensity = 10" if material.liquid else ""
    edit(fresh, ('material = "calcium_nitrate"', f'material = "{material.id}"{density}'), ROOMY_TANK)
    block = ["--block", "creek"]
    for command in (["mix-sheet", *block, "--week", 5], ["purchase"], ["blend", *block, "--at-least", "k2o=1"]):
        assert too_wide(run(*command, "--season", fresh, *BEFORE).output) == []


def test_the_sheet_says_what_to_weigh_dissolve_and_inject(run: Run, fresh: Path) -> None:
    before = contents(fresh)
    text = words(run("mix-sheet", "--season", fresh, "--block", "hill", "--week", 5, *BEFORE).output)
    area = 420 * 24 * 2.5 / 43_560
    nitrogen = 5.25 * area
    calcium, potash, salt = nitrogen / 4 / 0.155, nitrogen / 4 / 0.13, 5.0 * area / 2
    for part in (
        "Mix sheet, week 5, Mon 30 Mar 2026 to Sun 5 Apr 2026",
        f"Hill top: {area:.4f} ac at 5.25 lb N/ac/week = {nitrogen:.3f} lb N in the week.",
        "2 injections a week; every amount below is for one of them.",
        f"[ ] A calcium nitrate 15.5-0-0 {calcium:.2f} lb dry",
        f"[ ] A potassium nitrate 13-0-44 {potash:.2f} lb dry",
        f"[ ] B Epsom salt 0-0-0 {salt:.2f} lb dry",
        "[ ] Tank A: dissolve, then make up to ",
        "[ ] Tank B: dissolve, then make up to ",
        "(never less than ",
        f"Brings N {nitrogen / 2:.2f}, ",
        f"[ ] Hill, upper valve: fill the line 20 min, inject 40 min ({nitrogen / 4:.3f} lb N), flush 20 min; ",
        "[ ] Hill, lower valve: ",
        "Injector: pump at 20 gal/h from each tank.",
        "Cautions ! Backflow",
    ):
        assert part in text, part
    assert contents(fresh) == before


def test_the_sheet_of_today_is_that_of_the_running_week(run: Run, fresh: Path) -> None:
    first = run("mix-sheet", "--season", fresh, "--block", "creek").output.splitlines()[0]
    assert first == "Mix sheet, week 12, Mon 18 May 2026 to Sun 24 May 2026"


def test_the_sheet_follows_what_was_decided_and_not_what_is_advised(run: Run, lived: Path) -> None:
    plain = json.loads(
        run("mix-sheet", "--season", lived, "--block", "creek", "--week", 4, "--on", "2026-03-20", "--json").output
    )
    decided = json.loads(
        run("mix-sheet", "--season", lived, "--block", "creek", "--week", 4, "--on", "2026-03-21", "--json").output
    )
    assert plain["blocks"][0]["rate"] == pytest.approx(5.25)
    assert decided["blocks"][0]["rate"] == pytest.approx(7.0)


def test_the_sheet_for_machines_is_that_of_the_interface(run: Run, fresh: Path) -> None:
    data = json.loads(
        run("mix-sheet", "--season", fresh, "--block", "hill", "--week", 5, *BEFORE, "--json").output
    )
    season = open_season(fresh)
    sheet = season.mix_sheet("hill", 5, date(2026, 3, 1))
    assert data == {"on": "2026-03-01"} | mix_sheet_data(sheet, season.file.injecting, season.units)
    assert {"week", "start", "end", "units", "blocks", "feeds", "notes", "cautions", "tank"} <= set(data)


def test_a_zone_of_two_blocks_feeds_both_in_one_run(run: Run, refused: Refused, fresh: Path) -> None:
    edit(
        fresh,
        ('[zones.creek]\nblocks = ["creek"]', '[zones.creek]\nname = "East"\nblocks = ["creek", "lane"]'),
        ('[zones.lane]\nblocks = ["lane"]\nflow = 380\nset_minutes = 120\n', ""),
    )
    for zone in ("creek", "East", " east "):
        data = json.loads(run("mix-sheet", "--season", fresh, "--zone", zone, *BEFORE, "--json").output)
        assert [member["block"] for member in data["blocks"]] == ["creek", "lane"]
        total = sum(member["week_n"] for member in data["blocks"])
        assert data["feeds"][0]["runs"][0]["n"] == pytest.approx(total / 2)
    told = refused("mix-sheet", "--season", fresh, "--block", "creek", *BEFORE)
    assert "ask for the sheet of the zone with mix-sheet --zone creek" in told


def test_one_tank_feeds_in_turn_what_must_not_meet(run: Run, fresh: Path) -> None:
    edit(fresh, ("tanks = 2", "tanks = 1"))
    output = run("mix-sheet", "--season", fresh, "--block", "creek", "--week", 5, *BEFORE).output
    first, second = output.split("Feed 2 of 2, 1 of the week's injections")
    assert "Feed 1 of 2, 1 of the week's injections" in first
    assert "calcium nitrate" in first and "Epsom salt" not in first
    assert "Epsom salt" in second and "calcium nitrate" not in second.partition("Cautions")[0]
    assert too_wide(output) == []


def test_the_printable_page_is_written_where_it_is_asked_for(run: Run, fresh: Path, tmp_path: Path) -> None:
    target = tmp_path / "out" / "hill.html"
    result = run("mix-sheet", "--season", fresh, "--block", "hill", "--week", 5, *BEFORE, "--to", target)
    assert result.output == f"Wrote {target}\n"
    text = Page(target.read_text(encoding="utf-8")).text
    assert "Mix sheet: Hill top, week 5" in text
    assert "Larkrise Farm (invented)" in text


def test_a_page_that_was_printed_before_is_replaced_whole(run: Run, fresh: Path, tmp_path: Path) -> None:
    target = tmp_path / "sheet.html"
    for block in ("hill", "creek"):
        run("mix-sheet", "--season", fresh, "--block", block, *BEFORE, "--to", target)
    assert "Creek side" in target.read_text(encoding="utf-8")
    assert "Hill top" not in target.read_text(encoding="utf-8")


SMALL_TANK = ("tank = 50", "tank = 1")
SHORT_SET = ("set_minutes = 120", "set_minutes = 41")


@pytest.mark.parametrize(
    ("edits", "given", "told"),
    [
        ([SMALL_TANK], ["--block", "hill"], "Feasible: 7 times as many injections a week, a tank of "),
        ([SHORT_SET], ["--block", "creek"], "Feasible: "),
        (
            [],
            ["--zone", "brook"],
            'zone: there is no zone "brook"; there are: creek, hill-upper, hill-lower, lane',
        ),
        ([], ["--block", "brook"], 'block: there is no block "brook"'),
        ([], ["--block", "hill", "--zone", "creek"], "name a block or a zone, one of the two"),
        ([], ["--block", "hill", "--week", "13"], "week 13 is over or not in the plan; weeks 1 to 12 are left"),
        ([], ["--block", "hill", "--week", "0"], "week 0 is over or not in the plan; weeks 1 to 12 are left"),
    ],
)
def test_a_sheet_that_can_not_be_leaves_no_page(
    refused: Refused, fresh: Path, tmp_path: Path, edits: list[tuple[str, str]], given: list[str], told: str
) -> None:
    edit(fresh, *edits)
    target = tmp_path / "sheet.html"
    assert told in refused("mix-sheet", "--season", fresh, *given, *BEFORE, "--to", target)
    assert not target.exists()


def test_a_page_that_is_there_stays_when_the_new_one_is_refused(
    run: Run, refused: Refused, fresh: Path, tmp_path: Path
) -> None:
    target = tmp_path / "sheet.html"
    run("mix-sheet", "--season", fresh, "--block", "hill", *BEFORE, "--to", target)
    before = target.read_bytes()
    edit(fresh, SMALL_TANK)
    refused("mix-sheet", "--season", fresh, "--block", "hill", *BEFORE, "--to", target)
    assert target.read_bytes() == before


def test_weeks_that_are_over_are_refused(refused: Refused, fresh: Path) -> None:
    given = ["mix-sheet", "--season", fresh, "--block", "hill"]
    told = refused(*given, "--on", "2026-05-01", "--week", 1)
    assert "week 1 is over or not in the plan; weeks 9 to 12 are left" in told
    assert "the plan ended on 2026-05-24; no week is left to feed" in refused(*given, "--on", "2026-06-01")


def test_a_metric_sheet_is_in_kilograms_and_litres(run: Run, fresh: Path) -> None:
    output = run("mix-sheet", "--season", metric(fresh), "--block", "hill", "--week", 5, *BEFORE).output
    text = words(output).partition("Cautions")[0]
    area = 420 * 24 * 2.5 / 10_000
    assert f"Hill top: {area:.4f} ha at 5.25 kg N/ha/week = {area * 5.25:.3f} kg N in the week." in text
    assert f"calcium nitrate 15.5-0-0 {area * 5.25 / 4 / 0.155:.2f} kg dry" in text
    assert "pump at 400 L/h" in text
    assert not re.search(r"\b(lb|gal|ac)\b", text)
    assert too_wide(output) == []


@pytest.mark.parametrize("block", ["creek", "hill", "lane"])
def test_a_season_file_of_before_gives_weights_and_says_what_is_missing(run: Run, fresh: Path, block: str) -> None:
    before_feeding(fresh)
    output = run("mix-sheet", "--season", fresh, "--block", block, *BEFORE).output
    text = words(output)
    assert re.search(r"\[ \] A potassium nitrate 13-0-45 [\d.]+ lb dry", text)
    assert "! The water's temperature is not set under [injection], so no volume can be given." in text
    assert f"[ ] {block}: " in text and "minutes not known" in text
    assert "make up to" not in text
    assert too_wide(output) == []


@pytest.mark.parametrize("command", ["mix-sheet", "minutes", "blend"])
def test_the_block_is_asked_for(run: Run, refused: Refused, fresh: Path, command: str) -> None:
    more = ["--tank-n", 2, "--tank-volume", 50] if command == "minutes" else []
    told = refused(command, "--season", fresh, *BEFORE, *more)
    assert "--block: is missing, and there is nobody to ask" in told
    output = run(command, "--season", fresh, *BEFORE, *more, input="Hill top\n").output
    assert "Block (creek, hill, lane): " in output


@pytest.mark.parametrize("command", ["mix-sheet", "minutes", "purchase", "credits", "calendar", "blend"])
def test_help_shows_an_example_that_fits_the_screen(run: Run, command: str) -> None:
    output = run(command, "--help").output
    assert f"  fertadjust {command}" in output or f"Example: fertadjust {command}" in output
    assert too_wide(output) == []


# --- minutes ------------------------------------------------------------------------------------------------


def test_minutes_bring_the_zones_their_nitrogen(run: Run, fresh: Path) -> None:
    given = ["minutes", "--season", fresh, "--block", "hill", "--tank-n", 23.4, "--tank-volume", 50, *BEFORE]
    area = 420 * 24 * 2.5 / 43_560
    data = json.loads(run(*given, "--n", 0.6, "--json").output)
    assert {key: data[key] for key in ("block", "on", "unit")} == {
        "block": "hill",
        "on": "2026-03-01",
        "unit": "lb",
    }
    assert [zone["zone"] for zone in data["zones"]] == ["hill-upper", "hill-lower"]
    for zone in data["zones"]:
        assert zone["n"] == pytest.approx(0.6 * area / 2)
        assert zone["minutes"] == pytest.approx(0.6 * area / 2 / 23.4 * 50 / 20 * 60)
    text = words(run(*given, "--n", 0.6).output)
    minutes = data["zones"][0]["minutes"]
    assert f"Hill, upper valve: {minutes:.1f} min bring {0.6 * area / 2:.3f} lb N; fill the line first" in text


def test_minutes_without_an_amount_are_those_of_one_injection_as_decided(run: Run, fresh: Path) -> None:
    given = ["minutes", "--season", fresh, "--block", "creek", "--tank-n", 5, "--tank-volume", 40, *BEFORE]
    [zone] = json.loads(run(*given, "--json").output)["zones"]
    assert zone["n"] == pytest.approx(3.5 / 2 * 300 * 10 * 2.5 / 43_560)


def test_metric_minutes_are_those_of_the_same_tank(run: Run, fresh: Path) -> None:
    metric(fresh)
    area = 300 * 10 * 2.5 / 10_000
    given = ["--block", "creek", "--tank-n", 10, "--tank-volume", 200, "--n", 0.6, *BEFORE, "--json"]
    data = json.loads(run("minutes", "--season", fresh, *given).output)
    assert data["unit"] == "kg"
    [zone] = data["zones"]
    assert zone["n"] == pytest.approx(0.6 * area)
    assert zone["minutes"] == pytest.approx(0.6 * area / 10 * 200 / 400 * 60)


def test_the_tank_is_asked_for(run: Run, refused: Refused, fresh: Path) -> None:
    given = ["minutes", "--season", fresh, "--block", "creek", *BEFORE]
    assert "--tank-n: is missing, and there is nobody to ask" in refused(*given)
    output = run(*given, input="5\n40\n").output
    assert "Nitrogen in the full tank [lb]: " in output
    assert "Volume of the full tank [gal]: " in output
    assert re.search(r"creek: [\d.]+ min bring [\d.]+ lb N", output)


@pytest.mark.parametrize(
    ("n", "volume", "wanted"),
    [
        (0, 50, 1),
        (5, 0, 1),
        (-5, 50, 1),
        (5, -50, 1),
        (math.nan, 50, 1),
        (5, math.inf, 1),
        (5, 50, -1),
        (5, 50, math.nan),
        (5, 50, math.inf),
    ],
)
def test_amounts_that_can_not_be_give_no_minutes(
    refused: Refused, fresh: Path, n: float, volume: float, wanted: float
) -> None:
    given = [f"--tank-n={n}", f"--tank-volume={volume}", f"--n={wanted}"]
    told = refused("minutes", "--season", fresh, "--block", "creek", *given, *BEFORE)
    assert "should" in told


def test_minutes_need_an_injector_and_a_proportional_one_the_flow(refused: Refused, fresh: Path) -> None:
    given = ["minutes", "--season", fresh, "--block", "creek", "--tank-n", 5, "--tank-volume", 40, *BEFORE]
    edit(fresh, ("pump_rate = 20\n", ""))
    assert "set pump_rate or ratio under [injection] first" in refused(*given)
    edit(fresh, ("tanks = 2\n", "tanks = 2\nratio = 100\n"), ("flow = 900\n", ""))
    assert "zone creek needs its flow for the minutes of a proportional injector" in refused(*given)


# --- purchase -----------------------------------------------------------------------------------------------


def test_purchases_are_whole_bags_beyond_the_stock(run: Run, fresh: Path) -> None:
    data = json.loads(run("purchase", "--season", fresh, *BEFORE, "--json").output)
    lines: dict[str, dict[str, Any]] = {item["product"]: item for item in data["products"]}
    area = (300 * 10 * 2.5 + 420 * 24 * 2.5 + 180 * 7 * 2.25) / 43_560
    early, late = 2 * 3.5 + 5.25, 7 * 5.25 + 2 * 3.5
    needs = {
        "potassium nitrate": (early + late / 2) * area / 0.13,
        "calcium nitrate": late / 2 * area / 0.155,
        "Epsom salt": 9 * 5.0 * area,
    }
    assert set(lines) == set(needs)
    for name, need in needs.items():
        line, on_hand = lines[name], {"potassium nitrate": 25, "calcium nitrate": 60}.get(name, 0)
        bags = math.ceil((need - on_hand) / 50)
        assert line["need"] == pytest.approx(need)
        assert line["to_buy"] == pytest.approx(need - on_hand)
        assert (line["on_hand"], line["packages"], line["unit"]) == (on_hand, bags, "lb")
        assert line["bought"] == pytest.approx(50 * bags)
        assert line["left_over"] == pytest.approx(on_hand + 50 * bags - need)
        assert line["bought_volume"] is None
    assert data["cost"] == pytest.approx(sum(line["cost"] for line in lines.values()))
    assert lines["calcium nitrate"]["cost"] == pytest.approx(24.5 * lines["calcium nitrate"]["packages"])


def test_the_list_of_purchases_fits_the_screen_and_adds_up(run: Run, fresh: Path) -> None:
    output = run("purchase", "--season", fresh, *BEFORE).output
    cost = json.loads(run("purchase", "--season", fresh, *BEFORE, "--json").output)["cost"]
    assert words(output).endswith(f"Cost: {cost:,.2f}.")
    assert too_wide(output) == []


def test_liquids_are_bought_by_volume_and_loose_goods_by_weight(run: Run, fresh: Path) -> None:
    edit(
        fresh,
        (
            'material = "calcium_nitrate"\npackage = 50\nprice = 24.5\non_hand = 60',
            'material = "uan_32"\npackage = 250',
        ),
        ("package = 50\nprice = 48\n", ""),
    )
    output = words(run("purchase", "--season", fresh, *BEFORE).output)
    assert "calcium nitrate: 250.0 gal to buy." in output
    assert re.search(r"potassium nitrate [\d.]+ 25\.0 loose ", output)
    assert output.endswith("Cost: not known for every product.")
    data = json.loads(run("purchase", "--season", fresh, *BEFORE, "--json").output)
    assert data["cost"] is None
    volumes = {item["product"]: item["bought_volume"] for item in data["products"]}
    assert volumes == {
        "calcium nitrate": pytest.approx(250),
        "potassium nitrate": None,
        "Epsom salt": None,
    }


def test_metric_purchases_are_in_kilograms(run: Run, fresh: Path) -> None:
    data = json.loads(run("purchase", "--season", metric(fresh), *BEFORE, "--json").output)
    [salt] = [item for item in data["products"] if item["product"] == "Epsom salt"]
    area = (300 * 10 * 2.5 + 420 * 24 * 2.5 + 180 * 7 * 2.25) / 10_000
    assert (salt["unit"], salt["need"]) == ("kg", pytest.approx(9 * 5.0 * area))


def test_after_the_plan_nothing_is_left_to_buy(run: Run, fresh: Path) -> None:
    assert run("purchase", "--season", fresh, "--on", "2026-06-01").output == "Nothing is left to feed.\n"
    data = json.loads(run("purchase", "--season", fresh, "--on", "2026-06-01", "--json").output)
    assert data["products"] == []


# --- credits ------------------------------------------------------------------------------------------------

CREDITS = """
[[credits]]
name = "well"
kind = "water nitrate"
ppm = 12
depth = 10

[[credits]]
name = "rye"
kind = "cover crop"
n_percent = 2.5
dry_matter = 0.4

[[credits]]
name = "compost"
kind = "compost"
n_percent = 1.5
spread = 1
compost = "manure compost"
"""


def test_credits_show_their_arithmetic_sources_and_cautions(run: Run, fresh: Path) -> None:
    (fresh / "season.toml").write_text((fresh / "season.toml").read_text(encoding="utf-8") + CREDITS, "utf-8")
    output = run("credits", "--season", fresh).output
    text = words(output)
    for part in (
        "preplant: 60.0 lb N/ac 60.0 lb N/ac, as stated (UGA-AESL, published)",
        "well: 27.2 lb N/ac 12 ppm NO3-N × 10 in × 0.2266 = 27.2 lb N/ac (UC-N-WATER, derived)",
        "rye: 7.0 lb N/ac",
        "compost: 2.1 lb N/ac",
        "HARTZ-COMPOST-2000: ",
        "! ",
        f"Together: {60 + 27.2 + 7.0 + 2.1:.1f} lb N/ac.",
    ):
        assert part in text, part
    for key in re.findall(r"\b[A-Z][A-Z0-9]+(?:-[A-Z0-9]+)+\b", text.partition("Together")[0]):
        if not key.startswith("NO3"):
            assert f" {key}: " in text.partition("Together")[2]
    assert too_wide(output) == []


def test_credits_for_machines(run: Run, fresh: Path) -> None:
    (fresh / "season.toml").write_text((fresh / "season.toml").read_text(encoding="utf-8") + CREDITS, "utf-8")
    data = json.loads(run("credits", "--season", fresh, "--json").output)
    assert [item["name"] for item in data] == ["preplant", "well", "rye", "compost"]
    assert {"name", "n", "unit", "arithmetic", "source", "evidence", "cautions"} == set(data[0])
    lines = open_season(fresh).file.credit_lines
    assert [item["n"] for item in data] == pytest.approx([line.n_lb_ac for line in lines])
    assert {item["unit"] for item in data} == {"lb N/ac"}


def test_metric_credits_are_in_kilograms_per_hectare(run: Run, fresh: Path) -> None:
    text = (fresh / "season.toml").read_text(encoding="utf-8")
    (fresh / "season.toml").write_text(text + CREDITS.replace("depth = 10", "depth = 254"), "utf-8")
    output = words(run("credits", "--season", metric(fresh)).output)
    assert f"well: {27.193 * KG_HA_PER_LB_AC:.1f} kg N/ha 12 ppm NO3-N × 254 mm × " in output
    assert " lb" not in output.partition("Together")[0].replace("lb/ac", "")


def test_a_season_without_credits_says_so(run: Run, fresh: Path) -> None:
    text = (fresh / "season.toml").read_text(encoding="utf-8")
    start, end = text.index("[[credits]]"), text.index("# Prices")
    (fresh / "season.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    output = run("credits", "--season", fresh).output
    assert output == "No credits are set; they stand under [[credits]] in season.toml.\n"
    assert json.loads(run("credits", "--season", fresh, "--json").output) == []


# --- calendar -----------------------------------------------------------------------------------------------


def test_the_calendar_is_written_beside_the_season_or_where_it_is_asked_for(
    run: Run, fresh: Path, tmp_path: Path
) -> None:
    assert run("calendar", "--season", fresh, *BEFORE).output == f"Wrote {fresh / 'feeding.ics'}\n"
    target = tmp_path / "phone.ics"
    run("calendar", "--season", fresh, *BEFORE, "--to", target)
    assert target.read_bytes() == (fresh / "feeding.ics").read_bytes()
    events = Calendar.from_ical(target.read_bytes()).walk("VEVENT")
    entries = calendar_entries(open_season(fresh), date(2026, 3, 1))
    assert [str(event["UID"]) for event in events] == [entry.uid for entry in entries]
    assert len(events) >= 3 * 24


def test_the_calendar_without_a_date_is_that_of_today(run: Run, fresh: Path, tmp_path: Path) -> None:
    target = tmp_path / "phone.ics"
    run("calendar", "--season", fresh, "--to", target)
    events = Calendar.from_ical(target.read_bytes()).walk("VEVENT")
    assert events and min(event.decoded("DTSTART") for event in events) >= TODAY


# --- a season file refused ----------------------------------------------------------------------------------


def test_check_tells_every_fault_of_feeding_at_its_line(refused: Refused, fresh: Path) -> None:
    edit(
        fresh,
        ('material = "epsom"', 'material = "epsum"'),
        ("water_temperature = 55", "water_temperature = 200"),
        ('days = ["Mon", "Thu"]', 'days = ["Mon"]'),
        ('blocks = ["lane"]', 'blocks = ["brook"]'),
    )
    told = refused("check", "--season", fresh)
    lines = (fresh / "season.toml").read_text(encoding="utf-8").splitlines()
    for start, key, message in (
        ('material = "epsum"', "products[3].material", 'there is no material "epsum"; near it: epsom'),
        ("water_temperature", "injection.water_temperature", "200 °F should be from 32 to 140 °F"),
        ("days", "injection.days", "names 1 days, the plan has 2 injections a week"),
        ('blocks = ["brook"]', "zones.lane.blocks", 'there is no block "brook"; there are: creek, hill, lane'),
    ):
        number = next(index for index, line in enumerate(lines, start=1) if line.startswith(start))
        assert f"Error: season.toml, line {number}, {key}: {message}" in told


def test_check_tells_every_wrong_shape_of_feeding_at_its_line(refused: Refused, fresh: Path) -> None:
    edit(
        fresh,
        ("pump_rate = 20", "pump_rate = 20\nratio = 100"),
        ("tanks = 2", "tanks = 3"),
        ("flow = 900", "flow = 0"),
        ('shares = { "potassium nitrate" = 1.0 }', 'shares = { "potassium nitrate" = 0.9 }'),
    )
    told = refused("check", "--season", fresh)
    for key in ("injection.tanks", "zones.creek.flow", "mixes[1].shares"):
        assert re.search(rf"^Error: season\.toml, line \d+, {re.escape(key)}: ", told, re.M), key


def test_a_clash_that_the_grower_forced_is_refused_by_every_command(refused: Refused, fresh: Path) -> None:
    edit(
        fresh,
        ('material = "calcium_nitrate"', 'material = "calcium_nitrate"\ntank = "A"'),
        ('material = "epsom"', 'material = "epsom"\ntank = "A"'),
    )
    for given in (["check"], ["mix-sheet", "--block", "hill"], ["purchase"], ["calendar"], ["credits"]):
        told = refused(*given, "--season", fresh)
        assert re.match(r"Error: season\.toml, line \d+, products: tank A: calcium nitrate carries calcium", told)


def test_check_notes_what_would_clash_and_what_is_from_memory(run: Run, fresh: Path) -> None:
    text = words(run("check", "--season", fresh).output)
    assert "Note: calcium nitrate carries calcium and Epsom salt carries sulfate" in text
    assert "Note: calcium nitrate: the split of nitrogen forms is from memory" in text


def test_the_weights_of_both_unit_systems_are_the_same_product(run: Run, fresh: Path) -> None:
    given = ["mix-sheet", "--season", fresh, "--block", "creek", "--week", 5, *BEFORE, "--json"]
    us = json.loads(run(*given).output)
    edit(
        metric(fresh),
        ("row_length = 300", "row_length = 91.44"),
        ("bed_top_width = 2.5\nbed_spacing = 5", "bed_top_width = 0.762\nbed_spacing = 1.524"),
        ("week = 3, rate = 5.25", f"week = 3, rate = {5.25 * KG_HA_PER_LB_AC!r}"),
        ("ceiling = 7.0", "ceiling = 8.0"),
        ('"Epsom salt" = 5.0', f'"Epsom salt" = {5.0 * KG_HA_PER_LB_AC!r}'),
    )
    other = json.loads(run(*given).output)
    for here, there in zip(us["feeds"][0]["tanks"], other["feeds"][0]["tanks"], strict=True):
        for part, same in zip(here["products"], there["products"], strict=True):
            assert same["weight"] == pytest.approx(part["weight"] * KG_PER_LB, rel=1e-9)
