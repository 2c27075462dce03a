"""Compiled inner loops of ``geometry``."""
