"""Compiled inner loops of ``aim``."""
