"""Makes the demo scene: a kit roadster's log manifold and the bay it must fit. All invented."""
