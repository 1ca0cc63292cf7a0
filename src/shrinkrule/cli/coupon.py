"""``shrinkrule coupon``: the calibration coupon and its measuring sheet."""

from __future__ import annotations

import typer


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
