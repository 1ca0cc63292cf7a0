"""The part's own dimensions, found on its facets: bores, walls, steps, distances of axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.dimensions.dimension import Dimension, Kind
    from shrinkrule.dimensions.find import FoundDimensions, find_dimensions
    from shrinkrule.dimensions.listing import dimensions_csv

__all__ = [
    "Dimension",
    "FoundDimensions",
    "Kind",
    "dimensions_csv",
    "find_dimensions",
]

_MODULES: Final = {
    "Dimension": "shrinkrule.dimensions.dimension",
    "FoundDimensions": "shrinkrule.dimensions.find",
    "Kind": "shrinkrule.dimensions.dimension",
    "dimensions_csv": "shrinkrule.dimensions.listing",
    "find_dimensions": "shrinkrule.dimensions.find",
}

__getattr__ = late_names(__name__, _MODULES)
