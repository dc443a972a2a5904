"""Re-proves a finished report from its inputs, with other code and another engine than the ones that made it."""
