"""A passage or a chart as one SVG that a page can show, with marks on its notes.

Comes in: a passage with its MEI, and marks as records; colours come from the page's style.
Begin with: `engraver`, then `mark_places`.
"""
