"""The stages of each crop in order of time, by the names that tables, plans and people share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from itertools import combinations
from typing import Self

from pydantic import Field, model_validator

from fertadjust.stages import stage_words
from fertadjust.strict import Strict


class CropStages(Strict):
    """The stages of one crop.

    Attributes:
        crop, also: the crop and other crops or names that go by the same stages.
        order: groups of stage names in order of time; within a group no order is claimed.
    """

    crop: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    order: tuple[tuple[str, ...], ...]

    @model_validator(mode="after")
    def _check(self) -> Self:
        names = self.names
        if len(set(names)) != len(names):
            raise ValueError(f"{self.crop}: a stage stands twice")
        return self

    @property
    def names(self) -> tuple[str, ...]:
        """Every stage, in order."""
        return tuple(name for group in self.order for name in group)

    def rank(self, name: str) -> int | None:
        """Number of the group that a stage stands in; None for a stage of the grower's own."""
        return next((index for index, group in enumerate(self.order) if name in group), None)

    def out_of_order(self, dates: Mapping[str, date]) -> Iterator[tuple[str, str]]:
        """Pairs (earlier, later) of stages whose dates stand the other way round."""
        ranked = [(rank, name) for name in dates if (rank := self.rank(name)) is not None]
        for (first, before), (second, after) in combinations(sorted(ranked), 2):
            if first < second and dates[before] > dates[after]:
                yield before, after


class StageFile(Strict):
    """The file of stages: those of each crop, and what each looks like in the field."""

    crops: tuple[CropStages, ...]
    meaning: dict[str, str]

    @model_validator(mode="after")
    def _check(self) -> Self:
        for crop in self.crops:
            missing = [name for name in crop.names if name not in self.meaning]
            if missing:
                raise ValueError(f"{crop.crop}: no meaning for {', '.join(missing)}")
        return self

    def of(self, crop: str) -> CropStages | None:
        """The stages of a crop, by any of its names."""
        return next((item for item in self.crops if crop in (item.crop, *item.also)), None)


def order_words(stages: CropStages) -> str:
    """The order in words, for messages: "planting, then early growth, then first flower"."""
    groups = [" or ".join(stage_words(name) for name in group) for group in stages.order]
    return ", then ".join(groups)
