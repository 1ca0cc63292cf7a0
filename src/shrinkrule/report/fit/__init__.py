"""The report of a calibration: screen, JSON, HTML and its plots."""
