"""What people and machines read: screen, JSON, HTML and its pictures."""

from shrinkrule.report.console import show_job, show_rows, show_walls, show_ways_up
from shrinkrule.report.outputs import job_outputs
from shrinkrule.report.plain import job_dict, rows_dicts, walls_dict
from shrinkrule.report.sag_report import ways_up_dict

__all__ = [
    "job_dict",
    "job_outputs",
    "rows_dicts",
    "show_job",
    "show_rows",
    "show_walls",
    "show_ways_up",
    "walls_dict",
    "ways_up_dict",
]
