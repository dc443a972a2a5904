"""Getting the part on and off: slides, tools and removal paths, each proven along its whole way."""
