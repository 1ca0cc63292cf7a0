"""``shrinkrule review``: filled sheets of loads held against their row, and what the row learns."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from shrinkrule.cli import history, options, shrinkage
from shrinkrule.errors import SettingError, ShrinkruleError

if TYPE_CHECKING:
    from shrinkrule.calibration import CalibrationRow
    from shrinkrule.review.firing import FiringReview
    from shrinkrule.review.judge import PartReview
    from shrinkrule.review.learn import Lesson

_FITTING: Final = 0.2
"""Share of the time that is over when the sheets are read."""

Sheets = Annotated[
    list[Path],
    typer.Argument(
        metavar="SHEET...",
        help="Sheets NAME.load.csv that the traveler wrote, filled, as any spreadsheet saves them.",
        show_default=False,
        readable=False,  # the reader says it in one line
    ),
]
RowName = Annotated[
    str | None,
    typer.Option(
        "--row",
        "-r",
        metavar="NAME",
        help="Row that the parts were made by. Without it: the one that the sheet names.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
    ),
]
Learn = Annotated[
    bool,
    typer.Option(
        "--learn",
        help="Fit the row again with these parts and its own sheets; shown before it is written.",
        rich_help_panel=options.SHRINKAGE,
    ),
]
LearnFrom = Annotated[
    list[str] | None,
    typer.Option(
        "--learn-from",
        metavar="LETTER",
        help="Let this part teach although a fault is named for it; may be repeated.",
        show_default=False,
        rich_help_panel=options.SHRINKAGE,
    ),
]
Yes = Annotated[
    bool,
    typer.Option(
        "--yes",
        "-y",
        help="Write without asking; a part for which a fault is named does not teach then.",
        rich_help_panel=options.RESULT,
    ),
]
FailOnCause = Annotated[
    bool,
    typer.Option(
        "--fail-on-cause",
        help="Exit with 1 if a cause is named for any part or firing.",
        rich_help_panel=options.RESULT,
    ),
]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command(
        "review",
        no_args_is_help=True,
        epilog="Example: shrinkrule review load7.load.csv --table table.csv --learn",
    )(review)


def review(
    sheets: Sheets,
    table: shrinkage.TableFile = None,
    row: RowName = None,
    learn: Learn = False,
    learn_from: LearnFrom = None,
    no_history: history.NoHistory = False,
    out: options.OutDir = None,
    yes: Yes = False,
    json: options.Json = False,
    fail_on_cause: FailOnCause = False,
) -> None:
    """Say how parts came out: which readings are beyond their band, and likely why.

    A cause is named only where it is ten times likelier than plain scatter by
    the row's own numbers, two at most, with what would decide between them.
    With --learn the row is fitted again with these parts; the old one is kept
    under its date.
    """
    from shrinkrule.calibration import read_table
    from shrinkrule.report.parts.review import show_firings, show_reviews
    from shrinkrule.settings import Settings

    folder = options.folder_from(out)
    settings = Settings.for_model(sheets[0], options.flag_of, table=table)
    where = history.table_of(settings)
    rows = read_table(where)
    found = [(sheet, *_reviewed(sheet, rows, row, where.name)) for sheet in sheets]
    firings = _firings(found)
    # Before the screen, which may be closed or full; what failed is said after it.
    failed = None
    if not no_history:
        try:
            _remember(found, where)
        except ShrinkruleError as refusal:
            failed = refusal
    if not json:
        from rich.console import Console

        for _, _, parts in found:
            show_reviews(parts, Console(highlight=False))
        show_firings(firings, Console(highlight=False))
    if failed is not None:
        raise failed
    lesson = None
    if learn:
        with options.progress_bar(shown=not json) as progress:
            progress("fitting all sheets", _FITTING)
            accepted = _accepted(found, learn_from or []) if yes or learn_from else None
            lesson = _learned(found, firings, where, accepted)
    if lesson is not None:
        page = _write(lesson, where, folder, json, yes or bool(learn_from), yes)
        if not no_history:
            _remember_lesson(lesson, where)
        typer.echo(f"the fit's report is {page}", err=json)
    if json:
        typer.echo(_plain(found, firings, lesson))
    causes = [part.causes for _, _, parts in found for part in parts]
    causes += [firing.causes for firing in firings]
    if fail_on_cause and any(causes):
        raise typer.Exit(options.FOUND)


def _reviewed(
    sheet: Path, rows: tuple[CalibrationRow, ...], name: str | None, table: str
) -> tuple[CalibrationRow, list[PartReview]]:
    """Row of one sheet, and reviews of its parts."""
    from shrinkrule.calibration import find_row
    from shrinkrule.calibration.sheets.load import read_load
    from shrinkrule.review.judge import review_part

    parts = read_load(sheet)
    stated = parts[0].sheet.settings.row
    row = find_row(rows, name or stated or None, table)
    others = [other for other in rows if not other.replaced and other.name != row.name]
    return row, [review_part(part, row, others) for part in parts]


def _firings(found: list[tuple[Path, CalibrationRow, list[PartReview]]]) -> list[FiringReview]:
    """Reviews of the firings that parts of one row have in common, on whatever sheets."""
    from shrinkrule.review.firing import review_firings

    by_row: dict[str, tuple[CalibrationRow, list[PartReview]]] = {}
    for _, row, parts in found:
        by_row.setdefault(row.name, (row, []))[1].extend(parts)
    return [one for row, parts in by_row.values() for one in review_firings(parts, row)]


def _accepted(
    found: list[tuple[Path, CalibrationRow, list[PartReview]]], named: list[str]
) -> list[str]:
    """Letters named to teach all the same; refused where no part has one."""
    letters = {part.part.line.letter for _, _, parts in found for part in parts}
    for letter in named:
        if letter not in letters:
            raise SettingError(
                f"--learn-from {letter}: no part has this letter",
                hint=f"the sheets have {', '.join(sorted(letters))}",
            )
    return named


def _learned(
    found: list[tuple[Path, CalibrationRow, list[PartReview]]],
    firings: list[FiringReview],
    table: Path,
    accepted: list[str] | None,
) -> Lesson:
    from shrinkrule.review.learn import learn

    names = {row.name for _, row, _ in found}
    if len(names) > 1:
        raise SettingError(
            f"the sheets are of several rows: {', '.join(sorted(names))}",
            hint="let one row learn at a time",
        )
    _, row, _ = found[0]
    reviews = [part for _, _, parts in found for part in parts]
    return learn(row, table, [sheet for sheet, _, _ in found], reviews, firings, accepted)


def _write(lesson: Lesson, table: Path, folder: Path, json: bool, known: bool, yes: bool) -> Path:
    """Show what would change, ask, and write the row; return the page of the fit."""
    from rich.console import Console

    from shrinkrule.report.fit.outputs import fit_outputs
    from shrinkrule.report.parts.review import show_lesson

    show_lesson(lesson, Console(highlight=False, stderr=json))
    if not known:
        for doubt in lesson.doubtful:
            options.confirm(
                f"{doubt}. Learn from it all the same?",
                "add --yes, which leaves it out, or name it with --learn-from LETTER",
            )
    if not yes:
        options.confirm(
            f"Write row {lesson.row.name!r} into {table.name}? The old one is kept under its date.",
            "leave out --learn, or add --yes",
        )
    page: Path = fit_outputs(lesson.fit, lesson.row, folder, table, inputs=lesson.sheets)["html"]
    return page


def _remember(found: list[tuple[Path, CalibrationRow, list[PartReview]]], table: Path) -> None:
    """Add what was said to the history; once for each filled sheet."""
    from shrinkrule.files.checksum import sha256_of
    from shrinkrule.history.reviewed import reviewed_entry
    from shrinkrule.history.store import append_to_history, read_history
    from shrinkrule.report.parts.review import review_dict

    known = read_history(table)
    entries = []
    for sheet, row, parts in found:
        before = {
            (entry.get("row"), entry.get("letter"))
            for entry in known.about(sha256_of(sheet))
            if entry["entry"] == "reviewed"
        }
        entries += [
            reviewed_entry(sheet, row.name, _part(part), review_dict(part, row))
            for part in parts
            if (row.name, part.part.line.letter) not in before
        ]
    if entries:
        append_to_history(table, *entries)


def _remember_lesson(lesson: Lesson, table: Path) -> None:
    """Add what was learned to the history."""
    from shrinkrule.history.reviewed import learned_entry
    from shrinkrule.history.store import append_to_history
    from shrinkrule.report.parts.review import lesson_rows

    changes = {name: [was, will] for name, was, will in lesson_rows(lesson)}
    count = len(lesson.taught)
    said = f"from {count} part{'s' * (count != 1)}; {lesson.row.firings} firings now"
    append_to_history(table, learned_entry(lesson.row.name, list(lesson.sheets), said, changes))


def _part(review: PartReview) -> dict[str, Any]:
    line, settings = review.part.line, review.part.sheet.settings
    return {
        "letter": line.letter,
        "name": line.name,
        "green_sha256": line.green_sha256,
        "firing": settings.firing,
        "date": settings.date,
    }


def _plain(
    found: list[tuple[Path, CalibrationRow, list[PartReview]]],
    firings: list[FiringReview],
    lesson: Lesson | None,
) -> str:
    import json

    from shrinkrule.report.parts.review import firing_dict, lesson_rows, review_dict

    parts = [
        {"sheet": sheet.name, "row": row.name, **_part(part), **review_dict(part, row)}
        for sheet, row, reviews in found
        for part in reviews
    ]
    learned = None
    if lesson is not None:
        learned = {
            "row": lesson.row.name,
            "taught": list(lesson.taught),
            "not_taught": list(lesson.not_taught),
            "changes": {name: [was, will] for name, was, will in lesson_rows(lesson)},
        }
    values = {
        "schema": "shrinkrule.review",
        "version": 1,
        "parts": parts,
        "firings": [firing_dict(one) for one in firings],
        "learned": learned,
    }
    return json.dumps(values, indent=2)
