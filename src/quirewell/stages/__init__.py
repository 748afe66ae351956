"""The job itself, one module a stage."""
