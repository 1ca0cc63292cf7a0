"""The verdict as it is shown: its headline, what weighs, what is fine, what was not looked at."""

from __future__ import annotations

from typing import Any, Final

from rich.text import Text

from shrinkrule.cells import printable
from shrinkrule.job import Level, State, Verdict

LEVEL_CLASSES: Final = {Level.MAKE: "make", Level.LOOK: "look", Level.STOP: "stop"}
"""Classes of the page's style."""

STATE_CLASSES: Final = {
    State.FINE: "make",
    State.LOOK: "look",
    State.STOP: "stop",
    State.NOT_LOOKED_AT: "unknown",
}
"""Classes of the page's style, for single checks."""

_LEVEL_STYLES: Final = {Level.MAKE: "bold green", Level.LOOK: "bold yellow", Level.STOP: "bold red"}
_STATE_STYLES: Final = {State.LOOK: "bold yellow", State.STOP: "bold red"}


def headline_text(name: str, verdict: Verdict) -> Text:
    """First line of the screen: the part and what to do with it.

    Parameters
    ----------
    name : str
        The part's file.
    verdict : Verdict
        What was decided.

    Returns
    -------
    Text
        With the colour of its level.
    """
    return Text.assemble(
        (printable(name), "bold"),
        ": ",
        (verdict.headline, _LEVEL_STYLES[verdict.level]),
        overflow="fold",
    )


def check_lines(verdict: Verdict) -> list[Text]:
    """Lines of the screen: each reason that weighs, then what is fine, and what was not looked at.

    Parameters
    ----------
    verdict : Verdict
        What was decided.

    Returns
    -------
    list of Text
        The heaviest first.
    """
    lines = [
        Text.assemble(
            (f"{reason.state.value}: ", _STATE_STYLES[reason.state]), printable(reason.text)
        )
        for reason in verdict.reasons
    ]
    if fine := ", ".join(c.name for c in verdict.checks if c.state is State.FINE):
        lines.append(Text.assemble((f"{State.FINE.value}: ", "green"), fine))
    reasons = dict.fromkeys(c.skipped for c in verdict.checks if c.skipped)
    skipped = "; ".join(
        f"{', '.join(c.name for c in verdict.checks if c.skipped == why)} ({why})"
        for why in reasons
    )
    if skipped:
        lines.append(Text.assemble((f"{State.NOT_LOOKED_AT.value}: ", "bold"), skipped))
    return lines


def verdict_dict(verdict: Verdict) -> dict[str, Any]:
    """The verdict as JSON values.

    Parameters
    ----------
    verdict : Verdict
        What was decided.

    Returns
    -------
    dict
        As in docs/file-formats.md.
    """
    return {
        "level": verdict.level.value,
        "headline": verdict.headline,
        "reasons": [
            {"level": reason.level.value, "text": reason.text} for reason in verdict.reasons
        ],
        "checks": [
            {
                "name": check.name,
                "state": check.state.value,
                "not_looked_at_because": check.skipped or None,
                "matters_to_headline": bool(check.unknown),
                "found": [
                    {"state": r.state.value, "text": r.text, "at_mm": r.at_mm}
                    for r in check.reasons
                ],
            }
            for check in verdict.checks
        ],
    }


def verdict_rows(verdict: Verdict) -> list[dict[str, str]]:
    """Rows of the page's list of checks: all that were made, and those that were not.

    Parameters
    ----------
    verdict : Verdict
        What was decided.

    Returns
    -------
    list of dict
        Name, state, class of the page's style, and what was found or why not.
    """
    rows = []
    for check in verdict.checks:
        said = "; ".join(reason.text for reason in check.reasons)
        if check.skipped:
            said = "; ".join(filter(None, (said, check.skipped)))
        rows.append(
            {
                "name": check.name,
                "state": check.state.value,
                "css": STATE_CLASSES[check.state],
                "said": said,
            }
        )
    return rows
