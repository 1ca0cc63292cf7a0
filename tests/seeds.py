"""How many made-up parts the tests that draw them go through: a share, or all."""

from __future__ import annotations

import os


def many_seeds() -> bool:
    """Whether all are asked for, by the variable SHRINKRULE_MANY_SEEDS; a share runs otherwise."""
    return bool(os.environ.get("SHRINKRULE_MANY_SEEDS"))
