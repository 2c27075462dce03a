"""Compiled inner loops of ``fusion``."""
