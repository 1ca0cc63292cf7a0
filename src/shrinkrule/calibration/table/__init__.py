"""The calibration table: its rows, its file, and rows between calibrated densities."""
