"""Which green parts share a crucible, and how many loads they take."""

from shrinkrule.loads.outline import Footprint, footprint
from shrinkrule.loads.packing import Load, Placed, fewest_loads, pack_loads

__all__ = ["Footprint", "Load", "Placed", "fewest_loads", "footprint", "pack_loads"]
