"""One-sided contact with the setter plate and with supports, and whether a part stands at all."""
