"""The shipped weights: safetensors, their JSON and model card."""
