"""What is handed over on paper or by e-mail: the still of a photograph.

Begin with `still.still_png`.
"""
