"""From measured coupons to a table row that knows how sure it is."""

from shrinkrule.calibration.density import Beyond, row_at_density
from shrinkrule.calibration.row import BalanceCheck, CalibrationRow, Estimate, check_balance
from shrinkrule.calibration.table import demo_table, find_row, read_table, table_csv

__all__ = [
    "BalanceCheck",
    "Beyond",
    "CalibrationRow",
    "Estimate",
    "check_balance",
    "demo_table",
    "find_row",
    "read_table",
    "row_at_density",
    "table_csv",
]
