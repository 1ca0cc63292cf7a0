"""Statistics of a few coupons: lines, firings, and departures from zero."""
