"""Placing the part in the bay, with its uncertainty."""
