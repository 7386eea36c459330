"""The renderer: dials drawn with hand strokes or print, of known truth. Imports nothing of the other parts."""
