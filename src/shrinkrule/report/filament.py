"""Filament that a part takes, in words and as JSON values."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from shrinkrule.job import JobResult, filament_of
from shrinkrule.report.words import known_digits


def filament_text(result: JobResult) -> str:
    """Filament that the part takes: mass, length and price; empty where no mass is known.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    str
        A sentence without its full stop.
    """
    need = filament_of(result)
    if need is None:
        return ""
    said = [("at most " if need.mass_at_most else "") + known_digits(need.mass_g, "g")]
    if need.length_m is not None:
        at_most = "at most " if need.length_at_most and not need.mass_at_most else ""
        said.append(at_most + known_digits(need.length_m, "m"))
    if need.price is not None:
        said.append(f"{need.price:.2f} {need.currency or 'for it'}".strip())
    text = f"{', '.join(said)}, without brim and purge"
    return f"{text}; {need.note}" if need.note else text


def filament_dict(result: JobResult) -> dict[str, Any] | None:
    """Filament that the part takes, as JSON values; None where no mass is known.

    Parameters
    ----------
    result : JobResult
        The job.

    Returns
    -------
    dict or None
        JSON values by name.
    """
    need = filament_of(result)
    return None if need is None else asdict(need)
