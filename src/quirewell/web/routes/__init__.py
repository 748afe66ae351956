"""Routes, one module a page or stage."""
