"""Written music: pitch, tempo marks, passages and their engraving. Knows no player and no log."""
