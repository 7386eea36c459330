"""The reader: the small net that sees where a dial lies, which way is up and what every pixel of it shows.

Begin with `net.ReaderNet`.
"""
