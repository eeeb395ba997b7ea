"""What a reader should know about the test, by crop and basis."""

from __future__ import annotations

import pytest

from fertadjust.limits import limits_of_the_test
from fertadjust.shipped import citations, shipped_tables
from fertadjust.tissue import Basis, Tissue


@pytest.mark.parametrize("name", shipped_tables())
def test_the_limits_of_every_table_cite_known_sources_and_name_the_missing_number_for_a_cut(name: str) -> None:
    told = limits_of_the_test([shipped_tables()[name]])
    for text, source in told:
        assert text.endswith(".")
        assert all(key in citations() for key in source.split("; ")), source
    assert sum("No publication gives a number" in text for text, _ in told) == 1


def test_strawberry_and_other_crops_have_their_own() -> None:
    strawberry, melon = (
        " ".join(text for text, _ in limits_of_the_test([shipped_tables()[name]]))
        for name in ("strawberry-petiole-dry-us-southeast", "watermelon-petiole-sap-michigan")
    )
    assert "nearly worthless" in strawberry and "nearly worthless" not in melon
    assert "Florida and Michigan disagree on watermelon" in melon


def test_sap_tables_say_what_washing_does() -> None:
    """FARNESELLI-2006: 30 % lower on average."""
    for table in shipped_tables().values():
        told = any("Washing" in text for text, _ in limits_of_the_test([table]))
        assert told == (table.basis is Basis.SAP and table.tissue is Tissue.PETIOLE), table.id
