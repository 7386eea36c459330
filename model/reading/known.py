"""What is known of a photograph before it is read. No NumPy here: help and flags import it."""

from __future__ import annotations

MAX_PIXELS = 120_000_000
