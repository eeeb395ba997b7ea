"""``materials``: the typical figures of soluble fertilizers, listed and shown."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fertadjust.cli.common import echo_json, echo_table, json_option, say
from fertadjust.errors import Fault, UserError

if TYPE_CHECKING:
    from fertadjust.materials import Figures, Material
    from fertadjust.units import UnitSystem

LABEL_FIRST = (
    "These are typical figures: take those of the label before them. A guaranteed analysis is a minimum "
    "(SD-38-19), so nitrogen computed from it is the least that is applied."
)
CHECK_RECALLED = "What is marked recalled is from memory and was not checked against a document: check it."

_TITLES = {
    "analysis": "Grade",
    "secondary": "Other nutrients",
    "forms": "Forms of nitrogen",
    "density": "Density",
    "solubility": "Solubility",
    "salt_index": "Salt index",
}


@click.group()
def materials() -> None:
    """List and show typical figures of soluble fertilizers."""


@materials.command("list", epilog="Example: fertadjust materials list")
@json_option
def list_(as_json: bool) -> None:
    """List the materials: grade, other nutrients, kind, and whether any figure is from memory."""
    from fertadjust.shipped import shipped_materials

    found = list(shipped_materials().values())
    if as_json:
        echo_json([_data(material) for material in found])
        return
    rows = [
        [
            material.id,
            material.grade,
            _percents(material, ("ca", "mg", "s", "b")) or "-",
            _kind(material),
            "some" if material.recalled else "",
        ]
        for material in found
    ]
    echo_table(["material", "N-P2O5-K2O", "others, %", "kind", "recalled"], rows, left=(0, 1, 2, 3, 4))
    click.echo("")
    say(LABEL_FIRST)
    say(CHECK_RECALLED)
    say("One of them with all its figures and sources: fertadjust materials show calcium_nitrate")


@materials.command(epilog='Example: fertadjust materials show "potassium nitrate" --temperature 50')
@click.argument("material")
@click.option("--temperature", type=float, help="How much a stock holds at this temperature of the tank.")
@click.option(
    "--units",
    "system",
    type=click.Choice(["us", "metric"]),
    default="us",
    show_default=True,
    help="us: °F and lb/gal; metric: °C and kg/L. JSON holds °C and lb/gal either way.",
)
@json_option
def show(material: str, temperature: float | None, system: str, as_json: bool) -> None:
    """Show one MATERIAL, by id or name, with the source and evidence of every figure."""
    from fertadjust.evidence import EVIDENCE_MEANS
    from fertadjust.materials import find_material
    from fertadjust.shipped import citations_for, shipped_materials
    from fertadjust.units import UnitSystem

    found, units = find_material(material, shipped_materials()), UnitSystem(system)
    celsius = None if temperature is None else units.temperature_in(temperature)
    limit = None if celsius is None else _limit_lb_gal(found, celsius)
    groups = found.groups()
    said = ["SD-38-19"] if limit is None else ["SD-38-19", "FERT-SOLUBILITY"]
    citations = citations_for([*(group.source for group in groups.values()), *said])
    if as_json:
        at = {} if limit is None else {"stock_limit": {"celsius": celsius, "lb_gal": limit}}
        echo_json(_data(found) | at | {"citations": citations})
        return
    say(f"{found.name} ({found.id}): {found.grade}, {_kind(found)}")
    if found.note:
        say(found.note)
    for name, group in groups.items():
        _print_group(name, group, found, units)
    if limit is not None:
        click.echo("")
        holder = "gallon" if units is UnitSystem.US else "litre"
        say(
            f"At {temperature:g} {units.temperature_unit} one {holder} of stock holds at most "
            f"{units.density_out(limit):.2f} {units.weight_unit} of it, in clean water and by itself; salts that "
            "share a part hold each other back (FERT-SOLUBILITY)."
        )
    click.echo("")
    say(LABEL_FIRST)
    if found.recalled:
        say(CHECK_RECALLED)
    click.echo("\nSources")
    for key, citation in citations.items():
        say(f"{key}: {citation}", indent="  ")
    for evidence in dict.fromkeys(group.evidence for group in groups.values()):
        say(f"{evidence.value}: {EVIDENCE_MEANS[evidence]}", indent="  ")


def _limit_lb_gal(material: Material, celsius: float) -> float:
    """Most of a material that a gallon of stock holds at a temperature.

    Raises:
        UserError: its solubility does not apply, is not known, or does not reach the temperature.
    """
    solubility = material.used_solubility()
    if solubility is None:
        why = "is a liquid, a solution already" if material.liquid else "has no known solubility"
        raise UserError(Fault(f"{material.name} {why}; leave the temperature out", key="--temperature"))
    try:
        return solubility.limit_lb_gal(celsius)
    except UserError as error:
        raise UserError(Fault(f"{material.name}: {error}", key="--temperature")) from None


def _print_group(name: str, group: Figures, material: Material, units: UnitSystem) -> None:
    from fertadjust.evidence import cite

    click.echo("")
    say(f"{_TITLES[name]}: {_figures(name, material, units)}", hang=4)
    if name == "solubility":
        _print_solubility(material, units)
    say(cite(group.source, group.evidence), indent="    ")
    if group.note:
        say(group.note, indent="    ")


def _figures(name: str, material: Material, units: UnitSystem) -> str:
    """The figures of a group in one line."""
    if name == "analysis":
        return _percents(material, ("n", "p2o5", "k2o")) + " % by weight"
    if name == "secondary":
        return _percents(material, ("ca", "mg", "s", "b")) + " % by weight, as elements"
    if name == "forms" and material.forms is not None:
        forms = material.forms
        named = (("nitrate", forms.nitrate), ("ammonium", forms.ammonium), ("urea", forms.urea))
        return ", ".join(f"{value:g} {form}-N" for form, value in named if value) + " % by weight"
    if name == "density" and material.density is not None:
        return f"{units.density_out(material.density.lb_gal):.4g} {units.density_unit}"
    if name == "salt_index" and material.salt_index is not None:
        return f"{material.salt_index.value:g}, where sodium nitrate is 100, equal weights of material"
    return "at most, in the stock"


def _print_solubility(material: Material, units: UnitSystem) -> None:
    solubility = material.used_solubility()
    assert solubility is not None
    rows = [
        [f"{units.temperature_out(celsius):g}", f"{units.density_out(solubility.limit_lb_gal(celsius)):.2f}"]
        for celsius, _ in solubility.rows
    ]
    echo_table([f"    {units.temperature_unit}", units.density_unit], rows, left=())


def _percents(material: Material, nutrients: tuple[str, ...]) -> str:
    """Percents of some nutrients, "13 N, 44 K2O"; those that it does not hold are left out."""
    from fertadjust.products import NUTRIENT_WORDS

    held = [(key, material.percent.get(key, 0.0)) for key in nutrients]
    return ", ".join(f"{value:g} {NUTRIENT_WORDS[key]}" for key, value in held if value > 0)


def _kind(material: Material) -> str:
    return ("liquid" if material.liquid else "dry") + ("" if material.drip else ", not for drip")


def _data(material: Material) -> dict[str, Any]:
    """A material for machines; percent by weight, density in lb/gal, temperatures in deg C."""
    return {"grade": material.grade, "percent": material.percent, **material.as_data()}
