"""The browser that the tests open; they fetch none."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fertadjust.browser import find_browser

NO_BROWSER = "no browser is installed"


def installed_browser() -> Path:
    """The installed browser; without one the test is skipped, or fails where a browser is required."""
    program = find_browser()
    if program is not None:
        return program
    if os.environ.get("FERTADJUST_TEST_BROWSER") == "required":
        pytest.fail(f"{NO_BROWSER}, and FERTADJUST_TEST_BROWSER=required asks for one")
    pytest.skip(f"{NO_BROWSER}; with FERTADJUST_TEST_BROWSER=required this fails")
