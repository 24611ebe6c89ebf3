"""The example scenario: seeded, invented, also used by tests."""
