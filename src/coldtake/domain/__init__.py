"""The records and rules of practice. No input or output, no clock, no sound, no notation."""
