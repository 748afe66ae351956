"""Uncertainty, detectable change and equivalence."""
