"""What people and machines read: screen, JSON, HTML and its pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.report.console import show_job, show_rows, show_walls, show_ways_up
    from shrinkrule.report.dimension_list import dimensions_dict, dimensions_outputs
    from shrinkrule.report.dimensions import show_dimensions
    from shrinkrule.report.fit.console import show_bars, show_fit
    from shrinkrule.report.fit.plain import bars_dict, fit_dict
    from shrinkrule.report.outputs import job_outputs, walls_outputs
    from shrinkrule.report.plain import job_dict, rows_dicts, walls_dict
    from shrinkrule.report.sag.values import ways_up_dict
    from shrinkrule.report.sag.ways import ways_outputs

__all__ = [
    "bars_dict",
    "dimensions_dict",
    "dimensions_outputs",
    "fit_dict",
    "job_dict",
    "job_outputs",
    "rows_dicts",
    "show_bars",
    "show_dimensions",
    "show_fit",
    "show_job",
    "show_rows",
    "show_walls",
    "show_ways_up",
    "walls_dict",
    "walls_outputs",
    "ways_outputs",
    "ways_up_dict",
]

_MODULES: Final = {
    "dimensions_dict": "shrinkrule.report.dimension_list",
    "dimensions_outputs": "shrinkrule.report.dimension_list",
    "bars_dict": "shrinkrule.report.fit.plain",
    "show_bars": "shrinkrule.report.fit.console",
    "fit_dict": "shrinkrule.report.fit.plain",
    "job_dict": "shrinkrule.report.plain",
    "job_outputs": "shrinkrule.report.outputs",
    "rows_dicts": "shrinkrule.report.plain",
    "show_dimensions": "shrinkrule.report.dimensions",
    "show_fit": "shrinkrule.report.fit.console",
    "show_job": "shrinkrule.report.console",
    "show_rows": "shrinkrule.report.console",
    "show_walls": "shrinkrule.report.console",
    "show_ways_up": "shrinkrule.report.console",
    "walls_dict": "shrinkrule.report.plain",
    "walls_outputs": "shrinkrule.report.outputs",
    "ways_outputs": "shrinkrule.report.sag.ways",
    "ways_up_dict": "shrinkrule.report.sag.values",
}

__getattr__ = late_names(__name__, _MODULES)
