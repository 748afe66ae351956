"""Condition on the ten-point scale by a table of rules, with a band."""
