"""Templates of the inspection page."""
