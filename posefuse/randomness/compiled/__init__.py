"""Compiled inner loops of ``randomness``."""
