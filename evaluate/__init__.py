"""Scoring photographs, inspecting a call, and measuring how good the calls are. Home of the command line."""
