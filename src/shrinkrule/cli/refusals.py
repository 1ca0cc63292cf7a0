"""Refusals as the command line prints them: with the flags of the options they speak of."""

from __future__ import annotations

from typing import Final

from shrinkrule.errors import Option, ShrinkruleError

FLAGS: Final = {
    Option.TABLE: "--table",
    Option.ROW: "--row",
    Option.DENSITY: "--density",
    Option.EXTRAPOLATE: "--extrapolate",
    Option.SCALE: "--scale-xy, --scale-z",
    Option.OUTLINE: "--apply-offset",
    Option.SAG: "--sag",
    Option.FURNACE_UP: "--furnace-up; the command ways-up ranks them",
    Option.OPEN: "--allow-open",
    Option.UNITE: "--unite",
    Option.AGAIN: "--green-again",
    Option.CORRECTED: "--printer-corrected",
    Option.SUPPORT: "--support",
}
"""How each option is given here."""


def refusal_text(error: ShrinkruleError) -> str:
    """One line for a refusal, with the flags behind its hint."""
    if not error.options:
        return str(error)
    flags = ", ".join(FLAGS[option] for option in error.options)
    return f"{str(error).removesuffix('.')} ({flags})."
