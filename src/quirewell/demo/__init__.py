"""The invented demo: scans with planted truth, and the project built from them."""
