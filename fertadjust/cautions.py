"""The usual cautions of fertigation. They defer to labels, local codes and licensed advice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fertadjust.compatibility import clashes, has_calcium
from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.products import Product


class Caution(NamedTuple):
    text: str
    source: str
    evidence: Evidence


_ALWAYS = (
    Caution(
        "Backflow: injecting fertilizer needs the check valve, vacuum relief, drain or assembly that your state "
        "and water supplier ask for. Follow local chemigation rules.",
        "FL-576-087; SC-46-1-140; WAC-16-202",
        Evidence.PUBLISHED,
    ),
    Caution(
        "Follow the fertilizer's label and safety data sheet; wear what they ask for.",
        NO_SOURCE,
        Evidence.COMMON_PRACTICE,
    ),
    Caution(
        "Do not irrigate beyond what the crop uses to carry fertilizer: the excess washes nitrate towards "
        "groundwater. The drinking-water limit is 10 mg/L NO3-N.",
        "UC-N-WATER; NITRATE-10",
        Evidence.PUBLISHED,
    ),
    Caution(
        "Nutrient-management law or your nutrient plan may set the rate, and comes first.",
        "MD-NUTRIENT; CA-CVILRP",
        Evidence.PUBLISHED,
    ),
    Caution(
        "Confirm bands and rates with your extension service or a licensed advisor.",
        NO_SOURCE,
        Evidence.COMMON_PRACTICE,
    ),
)

_OXIDIZER = Caution(
    "Nitrate fertilizers are oxidizers: store them dry and apart from fuel, oil, straw, sacks and acids.",
    "OSHA-1910-109",
    Evidence.PUBLISHED,
)
_CALCIUM = Caution(
    "Never put calcium fertilizers in one concentrated tank with sulfates or phosphates.",
    "UC-MICRO; COMPAT-F20",
    Evidence.PUBLISHED,
)
_MINIMUM = Caution(
    "A label's analysis is a guaranteed minimum, so what goes out is at least the nitrogen computed here.",
    "SD-38-19; IPNI-2011",
    Evidence.PUBLISHED,
)


def _oxidizers(products: Sequence[Product]) -> bool:
    return any("nitrate" in product.name.lower() or product.nitrate_n for product in products)


def cautions_for(*mixes: Sequence[Product]) -> tuple[Caution, ...]:
    """The cautions that apply to the mixes of a season, most pressing first."""
    found = list(_ALWAYS[:2])
    used = [[product for product in mix if product.used] for mix in mixes]
    every = [product for mix in used for product in mix]
    if _oxidizers(every):
        found.append(_OXIDIZER)
    met = dict.fromkeys(Caution(item.text, item.source, item.evidence) for mix in used for item in clashes(mix))
    found += met
    if not met and any(has_calcium(product) for product in every):
        found.append(_CALCIUM)
    return (*found, *_ALWAYS[2:], _MINIMUM)


_MIXING = (
    Caution(
        "Wear the gloves, goggles and clothes that the label and the safety data sheet ask for.",
        NO_SOURCE,
        Evidence.COMMON_PRACTICE,
    ),
    Caution(
        "Part-fill the tank with water, dissolve one product fully before the next, then fill up to the mark.",
        NO_SOURCE,
        Evidence.RECALLED,
    ),
)
_ACID = Caution(
    "Acid into water, never water into acid, and alone in its own tank. Never near hypochlorite: the two give off "
    "poisonous gas.",
    NO_SOURCE,
    Evidence.RECALLED,
)
_CHILLS = Caution(
    "Nitrates and urea chill the water as they dissolve, and cold water holds less: stir, wait, and see that "
    "nothing is left at the bottom.",
    NO_SOURCE,
    Evidence.RECALLED,
)
_COOLS = Caution(
    "A stock solution that cools overnight can drop out: mix what you inject that day, or look before use.",
    "STOCK-COOLING",
    Evidence.PUBLISHED,
)
_JAR = Caution(
    "Before a new product or mix: jar test in the irrigation water at the strength of the drip line, covered, "
    "overnight; cloud or sediment means clogging.",
    "UC-MICRO; CITRUS-2014; NRCS-71",
    Evidence.PUBLISHED,
)
_RUN = (
    Caution(
        "Fill and pressurise the line before injecting, inject upstream of the filters, and flush with clean "
        "water afterwards.",
        "KSU-FERTIGATION; WAC-16-202",
        Evidence.PUBLISHED,
    ),
    Caution(
        "Mix and load away from wells, ditches and open water (Washington: 20 ft); your local code governs.",
        "WAC-16-202",
        Evidence.PUBLISHED,
    ),
)


def mixing_cautions(products: Sequence[Product]) -> tuple[Caution, ...]:
    """The cautions for one who mixes and injects some products, most pressing first."""
    found = [_ALWAYS[0], *_MIXING, _ACID]
    if any((product.nitrate_n or product.urea_n) and product.density_lb_gal is None for product in products):
        found.append(_CHILLS)
    if _oxidizers(products):
        found.append(_OXIDIZER)
    if any(has_calcium(product) for product in products):
        found.append(_CALCIUM)
    found += [Caution(item.text, item.source, item.evidence) for item in clashes(products) if not item.refused]
    return (*found, _COOLS, _JAR, *_RUN, _ALWAYS[2])
