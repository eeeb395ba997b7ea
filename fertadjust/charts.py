"""One block's season as a chart: results beside the moving band, weekly rates, and the running total.

Pure but for `save_figure`: the same season gives the same chart, byte for byte.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from html import escape
from itertools import groupby
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from fertadjust.chart_parts import (
    AROUND, BLACK, BLUE, GREEN, HEIGHT_IN, LEFT_IN, OVER, PALE_BLUE, PALE_GREEN, PALE_GREY, PURPLE, RIGHT_IN,
    SIGNS, SMALL, VERMILLION, WIDTH_IN, Labels, Mark, Span, Spot, at, chart_style, date_axis, rows_apart, value_axis,
)  # fmt: skip
from fertadjust.compare import Side, compare
from fertadjust.errors import OutOfSeason, UserError
from fertadjust.rules.bound_rules import room_lb_ac
from fertadjust.rules.evidence_rules import budget
from fertadjust.rules.facts import Facts, Reading
from fertadjust.season import BlockSeason
from fertadjust.tissue import MAIN_ANALYTE, Basis, Censor, Tissue, TissueResult, format_value, stored_unit
from fertadjust.uncertainty import combined, log_sd
from fertadjust.units import UnitSystem
from fertadjust.words import short_day

__all__ = ["Mark", "alt_text", "figure_svg", "save_figure", "season_figure"]
