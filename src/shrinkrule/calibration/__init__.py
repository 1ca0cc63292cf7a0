"""From measured coupons to a table row that knows how sure it is."""

from shrinkrule.calibration.fit.fit_sheets import fit_sheets
from shrinkrule.calibration.fit.result import AxisResult, FitResult, NamedOutlier, Note, Weight
from shrinkrule.calibration.fit.sag import SagFit, Support, beam_drop_mm, beam_modulus_kpa
from shrinkrule.calibration.fit.sentences import plain_sentences
from shrinkrule.calibration.fit.to_row import row_from_fit
from shrinkrule.calibration.sheets.read import read_sheet
from shrinkrule.calibration.sheets.sheet import Sheet
from shrinkrule.calibration.table.between import EXTRAPOLATED, Beyond, row_at_density
from shrinkrule.calibration.table.read import demo_table, find_row, read_table
from shrinkrule.calibration.table.row import (
    BalanceCheck,
    CalibrationRow,
    Estimate,
    LengthEffect,
    check_balance,
)
from shrinkrule.calibration.table.update import row_that_stands, updated_table
from shrinkrule.calibration.table.write import table_csv

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
