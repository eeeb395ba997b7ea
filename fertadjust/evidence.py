"""How well a number is known, and where it comes from. Every band row and policy value carries both."""

from __future__ import annotations

from enum import StrEnum


class Evidence(StrEnum):
    """How a figure is backed."""

    PUBLISHED = "published"
    DERIVED = "derived"
    RECALLED = "recalled"
    COMMON_PRACTICE = "common practice"
    PROJECT_RULE = "project rule"
    OWN = "own"
    """Set by the grower: an override in the season file or a table of the farm's own."""


EVIDENCE_MEANS: dict[Evidence, str] = {
    Evidence.PUBLISHED: "stands in the cited publication",
    Evidence.DERIVED: "computed from cited figures",
    Evidence.RECALLED: "from memory, not checked against the document: check it before relying on it",
    Evidence.COMMON_PRACTICE: "common practice, no publication is claimed",
    Evidence.PROJECT_RULE: "this program's own rule, no publication gives a number",
    Evidence.OWN: "set by the grower",
}

NO_SOURCE = "none"
"""The word that stands where a value has no publication behind it."""

OWN_SOURCE = "season file"
"""The word that stands for the source of a value that the grower set."""


def split_sources(source: str) -> list[str]:
    """Split a source field, "UGA-2021; DE-2018", into its keys. "none" gives an empty list."""
    keys = [part.strip() for part in source.split(";")]
    return [key for key in keys if key and key != NO_SOURCE]


def cite(source: str, evidence: Evidence) -> str:
    """Short citation for one line of output, for example ``UGA-2021, published``."""
    keys = split_sources(source)
    return f"{'; '.join(keys)}, {evidence.value}" if keys else f"no publication: {evidence.value}"
