"""Many parts in one command: a process for each, and which of them share a crucible."""

from shrinkrule.cli.many_parts.loads import loads_of
from shrinkrule.cli.many_parts.processes import (
    PART_GB,
    UNKNOWNS_GB,
    Outcome,
    flags_of,
    free_gb,
    models_in,
    run_all,
)

__all__ = [
    "PART_GB",
    "UNKNOWNS_GB",
    "Outcome",
    "flags_of",
    "free_gb",
    "loads_of",
    "models_in",
    "run_all",
]
