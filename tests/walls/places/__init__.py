"""Parts whose thin places are known beforehand, made without sight of the code they test."""
