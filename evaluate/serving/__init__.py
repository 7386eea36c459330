"""Pages served to this machine's own browser: who may ask, what every answer carries, connections held to a pace.

Begin with `doors.Doors`, `server.run`.
"""
