"""The part as it can be turned in a page: what is drawn, and what draws it."""
