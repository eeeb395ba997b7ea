"""Petiole and leaf nitrate results of drip-fertigated crops, turned into weekly nitrogen decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING

__version__ = "0.7.0"
__all__ = ["Season", "UserError", "__version__", "open_season"]

if TYPE_CHECKING:
    from fertadjust.api import Season, open_season
    from fertadjust.errors import UserError

_HOMES = {"Season": "api", "open_season": "api", "UserError": "errors"}


def __getattr__(name: str) -> object:
    """Load the Python interface when it is first asked for, so that ``fertadjust --help`` stays quick."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(f"fertadjust.{_HOMES[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
