"""The logbook's rows, ready to be counted: the only reader of its tables for analysis."""

from outcomes.dataset.load import Dataset, load_dataset, public_ids

__all__ = ["Dataset", "load_dataset", "public_ids"]
