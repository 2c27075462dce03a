"""Seeded randomness: each named source of error has its own stream in each trial."""
