"""From certified clearances and uncertainties to pass, fail or undecided."""
