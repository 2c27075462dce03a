"""Compiled inner loops of ``sensing``."""
