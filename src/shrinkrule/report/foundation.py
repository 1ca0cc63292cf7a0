"""What every report has: who wrote it, numbers that JSON can hold, and the page templates."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from shrinkrule.version import VERSION

if TYPE_CHECKING:
    from jinja2 import Environment


def program() -> str:
    """Name and version of this program."""
    return f"shrinkrule {VERSION}"


def finite(values: dict[str, Any]) -> dict[str, Any]:
    """Values by name, with null for what JSON cannot hold."""
    return {key: without_nan(value) for key, value in values.items()}


def without_nan(value: Any) -> Any:
    """Replace what JSON cannot hold (nan, inf) by null, all the way down."""
    if isinstance(value, dict):
        return finite(value)
    if isinstance(value, list | tuple):
        return [without_nan(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def environment() -> Environment:
    """Template environment: everything escaped, an unknown name is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("shrinkrule.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
