"""Measures: who counts, what counts, from when, until when, and by which estimator."""
