"""How the database came to its present shape, step by step; run by `schema.prepare`."""
