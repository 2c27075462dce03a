"""What a real build has and the filter does not know: one list of named constants, and draws."""
