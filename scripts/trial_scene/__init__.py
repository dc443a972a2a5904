"""Synthetic bays for the registration trials: parts, clutter and a scanner whose truth is known."""
