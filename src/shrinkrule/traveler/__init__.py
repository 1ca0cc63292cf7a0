"""The page that goes with the parts of a load, and the sheet that takes their readings."""
