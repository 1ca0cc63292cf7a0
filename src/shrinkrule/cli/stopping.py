"""How a command is stopped from outside: by Ctrl-C, by a request to end, by a terminal that closes.

All of them end it the same way: what stands under temporary names is taken away, processes that
it started are ended, and one line says what was written.
"""

from __future__ import annotations

import os
import signal
import time
from types import FrameType
from typing import Final

SIGNALS: Final = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
IMPATIENT_S: Final = 1.0
"""A second signal ends the process at once if it comes later than that; sooner it is the same
stroke of a key, or the same shell ending all that it started."""

_asked: list[tuple[int, float]] = []
"""The first signal that came, and when."""


def heed() -> None:
    """Have each of `SIGNALS` stop this process in order, except what the caller has it ignore."""
    for number in SIGNALS:
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _stop)


def code_of(code: int) -> int:
    """Exit code of a command that ended with ``code``: that of the signal which stopped it, if any.

    Parameters
    ----------
    code : int
        As from the command.

    Returns
    -------
    int
        128 and the signal's number, as shells count, where a signal came and it did not end well.
    """
    return 128 + _asked[0][0] if _asked and code else code


def _stop(number: int, _: FrameType | None) -> None:
    now = time.monotonic()
    if not _asked:
        _asked.append((number, now))
        raise KeyboardInterrupt
    if now - _asked[0][1] > IMPATIENT_S:
        os._exit(128 + number)
