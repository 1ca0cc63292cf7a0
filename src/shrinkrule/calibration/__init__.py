"""From measured coupons to a table row that knows how sure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.calibration.fit.beams import fit_bars
    from shrinkrule.calibration.fit.fit_sheets import fit_sheets
    from shrinkrule.calibration.fit.result import (
        AxisResult,
        FitResult,
        NamedOutlier,
        Note,
        NoteWeight,
    )
    from shrinkrule.calibration.fit.sag import SagFit
    from shrinkrule.calibration.fit.sentences import plain_sentences
    from shrinkrule.calibration.fit.to_row import row_from_fit
    from shrinkrule.calibration.sheets.join import is_block
    from shrinkrule.calibration.sheets.read import read_sheet
    from shrinkrule.calibration.sheets.sheet import Sheet
    from shrinkrule.calibration.table.between import Beyond, row_at_density
    from shrinkrule.calibration.table.evidence import Evidence, evidence_files, evidence_of
    from shrinkrule.calibration.table.ladder import Ladder
    from shrinkrule.calibration.table.read import demo_table, find_row, read_table
    from shrinkrule.calibration.table.row import (
        AXES,
        Axis,
        BalanceCheck,
        CalibrationRow,
        check_balance,
    )
    from shrinkrule.calibration.table.update import row_that_stands, table_bytes, updated_table
    from shrinkrule.calibration.table.write import table_csv
    from shrinkrule.physics.beam import Support, beam_drop_mm, beam_modulus_kpa
    from shrinkrule.physics.estimate import Estimate
    from shrinkrule.physics.interval import Feature, Interval, LengthEffect, Scatter

__all__ = [
    "AXES",
    "Axis",
    "AxisResult",
    "BalanceCheck",
    "Beyond",
    "CalibrationRow",
    "Estimate",
    "Evidence",
    "Feature",
    "FitResult",
    "Interval",
    "Ladder",
    "LengthEffect",
    "NamedOutlier",
    "Note",
    "NoteWeight",
    "SagFit",
    "Scatter",
    "Sheet",
    "Support",
    "beam_drop_mm",
    "beam_modulus_kpa",
    "check_balance",
    "demo_table",
    "evidence_files",
    "evidence_of",
    "find_row",
    "fit_bars",
    "fit_sheets",
    "is_block",
    "plain_sentences",
    "read_sheet",
    "read_table",
    "row_at_density",
    "row_from_fit",
    "row_that_stands",
    "table_bytes",
    "table_csv",
    "updated_table",
]

_MODULES: Final = {
    "AXES": "shrinkrule.calibration.table.row",
    "Axis": "shrinkrule.calibration.table.row",
    "Feature": "shrinkrule.physics.interval",
    "Interval": "shrinkrule.physics.interval",
    "Scatter": "shrinkrule.physics.interval",
    "AxisResult": "shrinkrule.calibration.fit.result",
    "BalanceCheck": "shrinkrule.calibration.table.row",
    "Beyond": "shrinkrule.calibration.table.between",
    "CalibrationRow": "shrinkrule.calibration.table.row",
    "Estimate": "shrinkrule.physics.estimate",
    "Evidence": "shrinkrule.calibration.table.evidence",
    "Ladder": "shrinkrule.calibration.table.ladder",
    "evidence_files": "shrinkrule.calibration.table.evidence",
    "evidence_of": "shrinkrule.calibration.table.evidence",
    "FitResult": "shrinkrule.calibration.fit.result",
    "LengthEffect": "shrinkrule.physics.interval",
    "NamedOutlier": "shrinkrule.calibration.fit.result",
    "Note": "shrinkrule.calibration.fit.result",
    "SagFit": "shrinkrule.calibration.fit.sag",
    "Sheet": "shrinkrule.calibration.sheets.sheet",
    "Support": "shrinkrule.physics.beam",
    "NoteWeight": "shrinkrule.calibration.fit.result",
    "beam_drop_mm": "shrinkrule.physics.beam",
    "beam_modulus_kpa": "shrinkrule.physics.beam",
    "check_balance": "shrinkrule.calibration.table.row",
    "demo_table": "shrinkrule.calibration.table.read",
    "find_row": "shrinkrule.calibration.table.read",
    "fit_bars": "shrinkrule.calibration.fit.beams",
    "is_block": "shrinkrule.calibration.sheets.join",
    "fit_sheets": "shrinkrule.calibration.fit.fit_sheets",
    "plain_sentences": "shrinkrule.calibration.fit.sentences",
    "read_sheet": "shrinkrule.calibration.sheets.read",
    "read_table": "shrinkrule.calibration.table.read",
    "row_at_density": "shrinkrule.calibration.table.between",
    "row_from_fit": "shrinkrule.calibration.fit.to_row",
    "row_that_stands": "shrinkrule.calibration.table.update",
    "table_bytes": "shrinkrule.calibration.table.update",
    "table_csv": "shrinkrule.calibration.table.write",
    "updated_table": "shrinkrule.calibration.table.update",
}

__getattr__ = late_names(__name__, _MODULES)
