"""What can be measured on the strokes of one photographed dial, one module a kind of measurement."""
