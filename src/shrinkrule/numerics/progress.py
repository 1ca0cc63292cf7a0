"""Progress of long work: who does the work reports, who asked for it listens or not."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, float], None]
"""Called with the name of a stage and the share of the whole that is done, 0 to 1."""

Tick = Callable[[float], None]
"""Called with the share of one stage that is done, 0 to 1."""


def silent(stage: str, share: float) -> None:
    """Progress that nobody watches.

    Parameters
    ----------
    stage : str
        What is being done.
    share : float
        How much of it is done, 0 to 1.
    """


def part_of(progress: Progress, start: float, span: float) -> Progress:
    """Progress of a part of the work with stages of its own, ``span`` of the whole from ``start``.

    Parameters
    ----------
    progress : callable
        Progress of the whole.
    start, span : float
        Where the part begins, and how much of the whole it is.

    Returns
    -------
    callable
        Progress of the part.
    """
    return lambda stage, done: progress(stage, start + span * done)


def stage_of(progress: Progress, stage: str, start: float, span: float) -> Tick:
    """Progress of one stage, which takes ``span`` of the whole from ``start`` on.

    Parameters
    ----------
    progress : callable
        Progress of the whole.
    stage : str
        Name of the stage.
    start, span : float
        Where the stage begins, and how much of the whole it is.

    Returns
    -------
    callable
        Progress of the stage.
    """
    return lambda done: progress(stage, start + span * done)


def share_of(tick: Tick, start: float, span: float) -> Tick:
    """Progress of a part of a stage, which takes ``span`` of the stage from ``start`` on.

    Parameters
    ----------
    tick : callable
        Progress of the stage.
    start, span : float
        Where the part begins, and how much of the stage it is.

    Returns
    -------
    callable
        Progress of the part.
    """
    return lambda done: tick(start + span * done)
