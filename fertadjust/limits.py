"""What a reader of any verdict should know about the test itself, by crop and basis, with source keys."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from fertadjust.bands import BandTable
from fertadjust.tissue import Basis, Tissue

Limit = tuple[str, str]
"""A sentence and the keys of its sources, "; " between them."""

_STRAWBERRY: Final[tuple[Limit, ...]] = (
    (
        "Published sufficiency bands for strawberry petiole nitrate disagree several-fold between regions: the "
        "Southeast low limit is 4 times the California minimum at bloom and 7.5 times in fruiting.",
        "UGA-2021; UC-DRIS-2012",
    ),
    (
        "In California the same authors call the petiole nitrate test nearly worthless at peak harvest and prefer "
        "leaf total nitrogen; petiole nitrate there did not follow soil nitrate.",
        "UC-DRIS-2012; BOTTOMS-DRIS",
    ),
    (
        "In North Carolina petiole nitrate is held to predict nitrogen need better than leaf nitrogen.",
        "NCDA-2023",
    ),
    (
        "In processing tomato petiole nitrate did not reliably tell crops with enough nitrogen from short ones.",
        "TOMATO-N-2009",
    ),
    (
        "No publication gives a number for how far to cut the rate when the petiole is above the band. Trials "
        "disagree on whether more nitrogen softens fruit.",
        "HOCHMUTH-1996; SEASON-2021; SEFP-WATSON",
    ),
)

_CROP: Final[dict[str, tuple[Limit, ...]]] = {
    "tomato": (
        (
            "In processing tomato petiole nitrate did not reliably tell crops with enough nitrogen from short "
            "ones.",
            "TOMATO-N-2009",
        ),
    ),
    "watermelon": (
        (
            "Florida and Michigan disagree on watermelon: at first flower 1,200 to 1,500 against 880 to 1,060 "
            "mg/L nitrate-nitrogen in sap.",
            "SCG-WM; MSU",
        ),
        (
            "A falling reading at fruit set is normal in watermelon; it alarms only below 300 to 400 ppm.",
            "UF-WM21",
        ),
    ),
    "potato": (
        (
            "A low potato petiole does not call for nitrogen where the soil still holds enough: take a soil test "
            "beside it.",
            "AGVISE-POTATO",
        ),
    ),
    "cotton": (
        (
            "Petiole nitrate in cotton has to be read together with weather, growth stage and other nutrient "
            "stress.",
            "SERA6-97",
        ),
    ),
}

_SAP: Final[tuple[Limit, ...]] = (
    (
        "Washing or cutting petioles lowered sap nitrate by 30 % on average in muskmelon, pepper and tomato: "
        "enough to turn sufficient into low.",
        "FARNESELLI-2006",
    ),
    (
        "Sap changes from day to day in the field, so that one day's reading is unsafe by itself (broccoli).",
        "SAPDAY-2025",
    ),
)

_NO_CUT: Final[Limit] = (
    "No publication gives a number for how far to cut when a test is high; they say that more nitrogen is "
    "wasteful, or that no action is needed.",
    "UMD-WM; UDEL-T",
)


def limits_of_the_test(tables: Iterable[BandTable]) -> tuple[Limit, ...]:
    """What is known of the limits of the tests that some tables are for."""
    used = tuple(tables)
    crops = list(dict.fromkeys(name for table in used for name in table.crops))
    found: list[Limit] = []
    if "strawberry" in crops:
        found += _STRAWBERRY
    for crop in crops:
        found += _CROP.get(crop, ())
    if any(table.tissue is Tissue.PETIOLE and table.basis is Basis.SAP for table in used):
        found += _SAP
    if _STRAWBERRY[-1] not in found:
        found.append(_NO_CUT)
    return tuple(found)
