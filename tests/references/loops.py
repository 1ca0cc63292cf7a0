"""Compiled loops run as they are written, for tests that call them a few times only."""

from __future__ import annotations

from collections.abc import Iterable
from types import ModuleType

import pytest


def run_as_python(modules: Iterable[ModuleType], monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the loops of some modules run as plain Python: nothing is compiled."""
    for module in modules:
        for name, value in list(vars(module).items()):
            if hasattr(value, "py_func"):
                monkeypatch.setattr(module, name, value.py_func)
