"""Pages of paper for the stand: what stands on them, and their PDF. Knows no request."""
