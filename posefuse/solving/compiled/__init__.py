"""Compiled inner loops of ``solving``."""
