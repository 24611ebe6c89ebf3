"""A recording to notes, alignment with a passage, tests and a verdict with evidence."""
