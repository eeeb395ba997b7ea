"""Runs the command line as ``python -m fertadjust.cli``."""

from fertadjust.cli import main

main()
