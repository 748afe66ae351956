"""Runs long computations in worker processes; only the parent writes to the studio."""
