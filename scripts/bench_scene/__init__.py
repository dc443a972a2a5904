"""A seeded bay and part of any size for `bench.py`: our own invention, drawn for speed, not for truth."""
