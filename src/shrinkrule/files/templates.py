"""The environment of every HTML template."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from shrinkrule.cells import in_page

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def environment(room: str) -> Environment:
    """Template environment of a room: all is escaped, an unknown name is an error.

    It is made once, and with it every template is compiled once: a folder of parts has many pages.

    Parameters
    ----------
    room : str
        Package whose folder ``templates`` holds them, as ``shrinkrule.report``.

    Returns
    -------
    jinja2.Environment
        The environment.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader(room),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=in_page,
        trim_blocks=True,
        lstrip_blocks=True,
    )
