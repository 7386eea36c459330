"""Free photographs from museums (`dialtell gather`).

Begin with `download.gather` and `records.read_records`.
"""
