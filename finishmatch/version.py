"""The version, here alone: the package, its metadata and every results file take it from this line."""

__version__ = "0.1.0"
