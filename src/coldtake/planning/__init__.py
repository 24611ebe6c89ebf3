"""A day as an optimisation over what learning says; the outlook; the reasons."""
