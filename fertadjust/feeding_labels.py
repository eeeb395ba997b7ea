"""What a label says beside the material that a product is, or is named after."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from fertadjust.evidence import Evidence
from fertadjust.feeding_model import FORMS, SECONDARY, SHARE_TOLERANCE, ProductIn
from fertadjust.materials import Material, plain_name
from fertadjust.products import NUTRIENT_WORDS
from fertadjust.shipped import shipped_materials


def label_faults(
    item: ProductIn, material: Material | None, percent: Mapping[str, float]
) -> Iterator[tuple[str, str]]:
    """Key and message of what does not fit between a label and what the product is called."""
    known = material or _called_like(item.name)
    for key in ("ca", "s"):
        usual, own = 0.0 if known is None else known.percent.get(key, 0.0), getattr(item, key)
        word = NUTRIENT_WORDS[key]
        if material is None and known is not None and usual > 0 and own is None:
            yield (
                "name",
                f"{known.name} usually carries {word}: give {key} from the label (0 for none), or material",
            )
        if material is not None and usual > 0 and own == 0:
            yield key, f"{material.name} carries {word}; a product without it is another material"
    if material is None:
        return
    total = sum(percent.values())
    if total > 100:
        yield "material", f"label and material add up to {total:g} %, above 100 %"
    named = sum(getattr(item, form) or 0.0 for form in FORMS)
    if named > percent["n"] + SHARE_TOLERANCE:
        yield "material", f"the forms of nitrogen add up to {named:g} %, above the total N of {percent['n']:g} %"
    if item.liquid is not None and item.liquid is not (material.liquid or item.density is not None):
        yield "liquid", f"{material.name} is sold {'liquid' if material.liquid else 'dry'}"
    if material.liquid and item.solubility is not None:
        yield "solubility", f"goes with a dry product; {material.name} is a solution already"


def _called_like(name: str) -> Material | None:
    """The material that a product of the grower's is named after, if any."""
    plain = plain_name(name)
    return next((material for material in shipped_materials().values() if plain in material.called()), None)


def recalled_in_use(item: ProductIn, material: Material) -> list[str]:
    """Names of a material's groups of figures that are from memory and that the label does not replace."""
    held = [key for key in SECONDARY if material.percent.get(key, 0.0) > 0]
    by_label = {
        "analysis": item.grade is not None,
        "secondary": all(getattr(item, key) is not None for key in held),
        "forms": any(getattr(item, form) is not None for form in FORMS),
        "density": item.density is not None,
        "solubility": item.solubility is not None,
        "salt_index": True,
    }
    words = {"forms": "split of nitrogen forms", "secondary": "calcium, magnesium, sulfur or boron"}
    return [
        words.get(name, name)
        for name, group in material.groups().items()
        if group.evidence is Evidence.RECALLED and not by_label[name]
    ]
