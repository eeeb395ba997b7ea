"""How figures are backed, and how that is said in one line."""

from __future__ import annotations

import pytest

from fertadjust.evidence import EVIDENCE_MEANS, Evidence, cite, split_sources


def test_every_kind_of_evidence_is_explained() -> None:
    assert set(EVIDENCE_MEANS) == set(Evidence)
    assert all(EVIDENCE_MEANS.values())
    assert len(set(EVIDENCE_MEANS.values())) == len(Evidence)


def test_what_is_from_memory_says_that_it_was_not_checked() -> None:
    assert "not checked" in EVIDENCE_MEANS[Evidence.RECALLED]


@pytest.mark.parametrize(
    ("source", "keys"),
    [
        ("UGA-2021", ["UGA-2021"]),
        ("UGA-2021; DE-2018", ["UGA-2021", "DE-2018"]),
        ("UGA-2021;DE-2018 ; DE-MON", ["UGA-2021", "DE-2018", "DE-MON"]),
        ("none", []),
        ("none; UGA-2021", ["UGA-2021"]),
        ("", []),
        (" ; ", []),
    ],
)
def test_a_source_field_is_split_into_its_keys(source: str, keys: list[str]) -> None:
    assert split_sources(source) == keys


def test_a_citation_in_one_line_names_sources_and_evidence() -> None:
    assert cite("UGA-2021; DE-2018", Evidence.PUBLISHED) == "UGA-2021; DE-2018, published"
    assert cite("UF-CV004", Evidence.RECALLED) == "UF-CV004, recalled"


def test_a_figure_without_a_publication_says_so() -> None:
    assert cite("none", Evidence.PROJECT_RULE) == "no publication: project rule"
    assert cite("none", Evidence.COMMON_PRACTICE) == "no publication: common practice"
