"""Exact distance, interference depth and containment of two bodies at a pose."""
