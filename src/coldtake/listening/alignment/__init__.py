"""The passage laid along a recording of one line: which note was played when.

Comes in: audio features and a passage.
Begin with: `performance_alignment` (the whole step); `segmental_viterbi` is its search.
"""
