"""The part's own dimensions, found on its facets: bores, walls, steps, distances of axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.dimensions.dimension import Dimension, Kind
    from shrinkrule.dimensions.find import FoundDimensions, find_dimensions
    from shrinkrule.dimensions.listing import dimensions_csv
    from shrinkrule.dimensions.promise import (
        Making,
        PromisedDimension,
        Reading,
        making_of,
        promise_dimensions,
    )

__all__ = [
    "Dimension",
    "FoundDimensions",
    "Kind",
    "Making",
    "PromisedDimension",
    "Reading",
    "dimensions_csv",
    "find_dimensions",
    "making_of",
    "promise_dimensions",
]

_MODULES: Final = {
    "Dimension": "shrinkrule.dimensions.dimension",
    "FoundDimensions": "shrinkrule.dimensions.find",
    "Kind": "shrinkrule.dimensions.dimension",
    "Making": "shrinkrule.dimensions.promise",
    "PromisedDimension": "shrinkrule.dimensions.promise",
    "Reading": "shrinkrule.dimensions.promise",
    "dimensions_csv": "shrinkrule.dimensions.listing",
    "find_dimensions": "shrinkrule.dimensions.find",
    "making_of": "shrinkrule.dimensions.promise",
    "promise_dimensions": "shrinkrule.dimensions.promise",
}

__getattr__ = late_names(__name__, _MODULES)
