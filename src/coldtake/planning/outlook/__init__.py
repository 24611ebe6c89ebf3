"""What will be ready on which date, and how sure that is.

Comes in: the forecast of `planning.value.forecast`.
Begin with: `summary`; its sentences are in `outlook_words`.
"""
