"""Training the net on rendered dials, calibrating it and writing its weights."""
