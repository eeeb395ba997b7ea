"""The cautions that an advice ends with: which apply to a mix, and where they come from."""

from __future__ import annotations

from fertadjust.cautions import cautions_for
from fertadjust.products import Product
from fertadjust.shipped import citations
from tests.support import products

CALCIUM_NITRATE = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=1.0, nitrate_n=14.5)
UREA = Product("urea", {"n": 46.0}, share=1.0)
EPSOM = Product("magnesium sulfate", {"n": 0.0, "mg": 9.8, "s": 12.9})
PHOSPHATE = Product("ammonium phosphate", {"n": 12.0, "p2o5": 61.0}, share=0.5)


def texts(*mix: Product) -> list[str]:
    return [item.text for item in cautions_for(mix)]


def having(found: list[str], *words: str) -> list[str]:
    return [text for text in found if any(word in text for word in words)]


def test_the_usual_cautions_come_with_every_mix() -> None:
    for mix in ((), (UREA,), products()):
        found = texts(*mix)
        for words in (
            "Backflow",
            "safety data sheet",
            "groundwater",
            "Nutrient-management law",
            "extension service",
        ):
            assert len(having(found, words)) == 1, words
        assert len(found) == len(set(found))


def test_backflow_and_the_label_come_first() -> None:
    found = texts(*products())
    assert found[0].startswith("Backflow") and found[1].startswith("Follow the fertilizer's label")
    assert "guaranteed minimum" in found[-1]


def test_nitrates_are_oxidizers_and_urea_is_not_called_one() -> None:
    assert having(texts(*products()), "oxidizers")
    assert not having(texts(UREA), "oxidizers")
    silent = Product("20-20-20", {"n": 20.0, "p2o5": 20.0, "k2o": 20.0}, share=1.0, nitrate_n=5.6)
    assert having(texts(silent), "oxidizers")


def test_calcium_is_kept_out_of_one_tank_with_sulfate_and_phosphate() -> None:
    assert having(texts(CALCIUM_NITRATE), "Never put calcium")
    assert not having(texts(UREA), "calcium")


def test_calcium_and_phosphate_in_one_mix_are_named_together() -> None:
    half = Product("calcium nitrate", {"n": 15.5, "ca": 19.0}, share=0.5, nitrate_n=14.5)
    found = having(texts(half, PHOSPHATE), "calcium")
    (text,) = found
    assert "calcium nitrate" in text and "ammonium phosphate" in text and "separate" in text


def test_a_product_without_a_share_does_not_go_into_the_tank() -> None:
    aside = Product("ammonium phosphate", {"n": 12.0, "p2o5": 61.0}, share=0.0)
    assert texts(CALCIUM_NITRATE, aside, EPSOM) == texts(CALCIUM_NITRATE)


def test_every_caution_has_a_known_source_or_claims_none() -> None:
    for item in (*cautions_for(products()), *cautions_for((CALCIUM_NITRATE, PHOSPHATE))):
        if item.source == "none":
            assert item.evidence.value == "common practice", item
        else:
            assert all(key in citations() for key in item.source.split("; ")), item


def test_the_drinking_water_limit_is_ten_milligrams_of_nitrate_nitrogen() -> None:
    (text,) = having(texts(), "drinking-water")
    assert "10 mg/L NO3-N" in text  # NITRATE-10
