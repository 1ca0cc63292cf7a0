"""The fit: from measured coupons to shrinkage, bead spread, densities and sag modulus."""
