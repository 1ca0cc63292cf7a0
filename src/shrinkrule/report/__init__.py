"""What people and machines read: screen, JSON, HTML and its pictures.

`fit_outputs` is imported from its module: its plots need matplotlib, which no other report does.
"""

from shrinkrule.report.console import show_job, show_rows, show_walls, show_ways_up
from shrinkrule.report.fit_console import show_fit
from shrinkrule.report.fit_plain import fit_dict
from shrinkrule.report.outputs import job_outputs, walls_outputs
from shrinkrule.report.plain import job_dict, rows_dicts, walls_dict
from shrinkrule.report.sag_report import ways_up_dict

__all__ = [
    "fit_dict",
    "job_dict",
    "job_outputs",
    "rows_dicts",
    "show_fit",
    "show_job",
    "show_rows",
    "show_walls",
    "show_ways_up",
    "walls_dict",
    "walls_outputs",
    "ways_up_dict",
]
