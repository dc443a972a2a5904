"""The job in its place: the part placed in the bay, the zones around it, and how they move."""
