"""What is handed over on paper or by e-mail: the still of a photograph, and its report of three pages.

Begin with `report.report_pdf` and `still.still_png`.
"""
