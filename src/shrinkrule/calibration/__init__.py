"""From measured coupons to a table row that knows how sure it is."""
