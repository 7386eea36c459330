"""What a dial is set in when it is photographed: case, hand, room, things beside it, what lies over the picture.

Begin with `setting.sample_setting`.
"""
