"""The jobs whose results are approved, by name: each takes nothing and gives what it found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from approved import calibration, pieces, sags, walls, whole

JOBS: Final[dict[str, Callable[[], Any]]] = {
    **walls.JOBS,
    **sags.JOBS,
    **calibration.JOBS,
    **pieces.JOBS,
    **whole.JOBS,
}
