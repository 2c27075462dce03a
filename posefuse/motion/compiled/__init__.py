"""Compiled inner loops of ``motion``."""
