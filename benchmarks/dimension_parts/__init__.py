"""Test parts with every true dimension known by construction, and a scorer for lists of them."""

from .parts import Part, make_part
from .scoring import score
from .truth import Dimension

__all__ = ["Dimension", "Part", "make_part", "score"]
