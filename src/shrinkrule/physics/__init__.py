"""Physics that several rooms state: uncertain values, the promise for a part, mass, beams."""
