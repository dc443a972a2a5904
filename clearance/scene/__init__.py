"""Meshes, scans and zones: reading, conditioning, building."""
