"""Paper as a material: expansion with moisture."""
