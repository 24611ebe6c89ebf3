"""Form fields to values and back; each field that cannot be read gets a sentence.

Comes in: the fields of a request, as text.
Begin with: `form_fields`, then `criteria`.
"""
