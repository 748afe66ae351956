"""Colour: from pixel values to CIELAB, paper tone and colour difference."""

from quirewell.science.colour.characterise import TargetFit, fit_target

__all__ = ["TargetFit", "fit_target"]
