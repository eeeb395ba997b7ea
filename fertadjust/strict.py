"""The base of everything that is read from a file: frozen, no unknown keys, texts stripped."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class Strict(BaseModel):
    """A model that takes nothing it does not know and is never changed."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)
