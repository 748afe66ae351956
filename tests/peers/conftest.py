"""Scripts that run in the peers' environment are no tests of this one."""

collect_ignore = [
    "register_sitk.py",
    "colour_oracle.py",
    "spectra_oracle.py",
    "isotonic_oracle.py",
    "evidence_oracle.py",
    "archive_oracle.py",
]
