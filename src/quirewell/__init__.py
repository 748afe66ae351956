"""Quirewell: measured, honest treatment records for stapled newsprint publications."""

__version__ = "0.1.0"
