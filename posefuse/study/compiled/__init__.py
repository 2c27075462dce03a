"""Compiled inner loops of ``study``."""
