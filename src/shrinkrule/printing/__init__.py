"""What prints badly and passes silently, because every wall of it is thick enough.

Rules of the trade with a limit each (common practice, no source). What breaks one is worth a
look and no more: whether it matters is the maker's to say.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.printing.check import look_at_print
    from shrinkrule.printing.findings import PrintFinding, PrintKind, PrintLook

__all__ = ["PrintFinding", "PrintKind", "PrintLook", "look_at_print"]

_MODULES: Final = {
    "PrintFinding": "shrinkrule.printing.findings",
    "PrintKind": "shrinkrule.printing.findings",
    "PrintLook": "shrinkrule.printing.findings",
    "look_at_print": "shrinkrule.printing.check",
}

__getattr__ = late_names(__name__, _MODULES)
