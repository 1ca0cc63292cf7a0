"""The calibration coupon's solid and the measuring sheet that goes with it."""
