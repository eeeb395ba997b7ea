"""The usual cautions of fertigation. They defer to labels, local codes and licensed advice."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from fertadjust.evidence import NO_SOURCE, Evidence
from fertadjust.products import Product, meets_in_concentrate


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


def cautions_for(products: Sequence[Product]) -> tuple[Caution, ...]:
    """The cautions that apply to a mix of products, most pressing first."""
    found = list(_ALWAYS[:2])
    used = [product for product in products if product.share > 0]
    if any("nitrate" in product.name.lower() or product.nitrate_n for product in used):
        found.append(_OXIDIZER)
    clash = meets_in_concentrate(used)
    if clash is not None:
        found.append(Caution(clash, _CALCIUM.source, _CALCIUM.evidence))
    elif any(product.percent.get("ca", 0.0) > 0 for product in used):
        found.append(_CALCIUM)
    return (*found, *_ALWAYS[2:], _MINIMUM)
