"""Pages of paper for the stand: what stands on them, and their PDF. Knows no request.

Comes in: a plan or steps, and a paper size.
Begin with: `sheets`, then `pdf`; the layout is `sheet.typ`.
"""
