"""Observations to one map of the bed, with what nothing checks and what cannot be told."""
