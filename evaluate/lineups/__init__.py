"""Like strokes side by side: what a person can check without believing any net. Begin with `gathering.line_ups`."""
