"""Colour: from pixel values to CIELAB, paper tone and colour difference."""
