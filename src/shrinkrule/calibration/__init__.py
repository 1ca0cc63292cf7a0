"""From measured coupons to a table row that knows how sure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from shrinkrule.public import late_names

if TYPE_CHECKING:
    from shrinkrule.calibration.density import EXTRAPOLATED, Beyond, row_at_density
    from shrinkrule.calibration.fit import fit_sheets
    from shrinkrule.calibration.fit_result import AxisResult, FitResult, NamedOutlier, Note, Weight
    from shrinkrule.calibration.fit_row import row_from_fit
    from shrinkrule.calibration.fit_sentence import plain_sentences
    from shrinkrule.calibration.row import (
        BalanceCheck,
        CalibrationRow,
        Estimate,
        LengthEffect,
        check_balance,
    )
    from shrinkrule.calibration.sag_modulus import SagFit, Support, beam_drop_mm, beam_modulus_kpa
    from shrinkrule.calibration.sheet_checks import read_sheet
    from shrinkrule.calibration.sheet_reading import Sheet
    from shrinkrule.calibration.table import demo_table, find_row, read_table, table_csv
    from shrinkrule.calibration.table_update import row_that_stands, updated_table

__all__ = [
    "EXTRAPOLATED",
    "AxisResult",
    "BalanceCheck",
    "Beyond",
    "CalibrationRow",
    "Estimate",
    "FitResult",
    "LengthEffect",
    "NamedOutlier",
    "Note",
    "SagFit",
    "Sheet",
    "Support",
    "Weight",
    "beam_drop_mm",
    "beam_modulus_kpa",
    "check_balance",
    "demo_table",
    "find_row",
    "fit_sheets",
    "plain_sentences",
    "read_sheet",
    "read_table",
    "row_at_density",
    "row_from_fit",
    "row_that_stands",
    "table_csv",
    "updated_table",
]

_MODULES: Final = {
    "AxisResult": "shrinkrule.calibration.fit_result",
    "BalanceCheck": "shrinkrule.calibration.row",
    "Beyond": "shrinkrule.calibration.density",
    "CalibrationRow": "shrinkrule.calibration.row",
    "EXTRAPOLATED": "shrinkrule.calibration.density",
    "Estimate": "shrinkrule.calibration.row",
    "FitResult": "shrinkrule.calibration.fit_result",
    "LengthEffect": "shrinkrule.calibration.row",
    "NamedOutlier": "shrinkrule.calibration.fit_result",
    "Note": "shrinkrule.calibration.fit_result",
    "SagFit": "shrinkrule.calibration.sag_modulus",
    "Sheet": "shrinkrule.calibration.sheet_reading",
    "Support": "shrinkrule.calibration.sag_modulus",
    "Weight": "shrinkrule.calibration.fit_result",
    "beam_drop_mm": "shrinkrule.calibration.sag_modulus",
    "beam_modulus_kpa": "shrinkrule.calibration.sag_modulus",
    "check_balance": "shrinkrule.calibration.row",
    "demo_table": "shrinkrule.calibration.table",
    "find_row": "shrinkrule.calibration.table",
    "fit_sheets": "shrinkrule.calibration.fit",
    "plain_sentences": "shrinkrule.calibration.fit_sentence",
    "read_sheet": "shrinkrule.calibration.sheet_checks",
    "read_table": "shrinkrule.calibration.table",
    "row_at_density": "shrinkrule.calibration.density",
    "row_from_fit": "shrinkrule.calibration.fit_row",
    "row_that_stands": "shrinkrule.calibration.table_update",
    "table_csv": "shrinkrule.calibration.table",
    "updated_table": "shrinkrule.calibration.table_update",
}

__getattr__ = late_names(__name__, _MODULES)
