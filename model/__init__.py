"""Reading a photograph and calling it: dial finding, optical density, zones, patches, the net and its weights."""
