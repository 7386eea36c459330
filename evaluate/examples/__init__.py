"""Example dials of our own drawing, with invented makers."""
