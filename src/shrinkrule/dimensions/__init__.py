"""The part's own dimensions, found on its facets: bores, walls, steps, distances of axes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.dimensions.advice import Toleranced, judged, part_chance
    from shrinkrule.dimensions.bending import Bending
    from shrinkrule.dimensions.dimension import Dimension, Kind
    from shrinkrule.dimensions.find import FoundDimensions, find_dimensions
    from shrinkrule.dimensions.limits import Limits, chance_of, read_limits
    from shrinkrule.dimensions.listing import dimensions_csv
    from shrinkrule.dimensions.marks import Numbered, numbered_dozen
    from shrinkrule.dimensions.promise import (
        Making,
        PromisedDimension,
        Reading,
        making_of,
        other_ways_up,
        promise_dimensions,
    )

__all__ = [
    "Bending",
    "Dimension",
    "FoundDimensions",
    "Kind",
    "Limits",
    "Making",
    "Numbered",
    "PromisedDimension",
    "Reading",
    "Toleranced",
    "chance_of",
    "dimensions_csv",
    "find_dimensions",
    "judged",
    "making_of",
    "numbered_dozen",
    "other_ways_up",
    "part_chance",
    "promise_dimensions",
    "read_limits",
]

_MODULES: Final = {
    "Bending": "shrinkrule.dimensions.bending",
    "Dimension": "shrinkrule.dimensions.dimension",
    "FoundDimensions": "shrinkrule.dimensions.find",
    "Kind": "shrinkrule.dimensions.dimension",
    "Limits": "shrinkrule.dimensions.limits",
    "Toleranced": "shrinkrule.dimensions.advice",
    "chance_of": "shrinkrule.dimensions.limits",
    "judged": "shrinkrule.dimensions.advice",
    "part_chance": "shrinkrule.dimensions.advice",
    "read_limits": "shrinkrule.dimensions.limits",
    "Numbered": "shrinkrule.dimensions.marks",
    "numbered_dozen": "shrinkrule.dimensions.marks",
    "Making": "shrinkrule.dimensions.promise",
    "PromisedDimension": "shrinkrule.dimensions.promise",
    "Reading": "shrinkrule.dimensions.promise",
    "dimensions_csv": "shrinkrule.dimensions.listing",
    "find_dimensions": "shrinkrule.dimensions.find",
    "making_of": "shrinkrule.dimensions.promise",
    "other_ways_up": "shrinkrule.dimensions.promise",
    "promise_dimensions": "shrinkrule.dimensions.promise",
}

__getattr__ = late_names(__name__, _MODULES)
