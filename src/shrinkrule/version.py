"""The version, in the one place that packaging and reports read it from."""

VERSION = "0.1.0"
