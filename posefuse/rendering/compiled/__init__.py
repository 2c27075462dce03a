"""Compiled inner loops of ``rendering``."""
