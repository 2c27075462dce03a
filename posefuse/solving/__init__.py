"""Poses from the corners of tags: one frame at a time here, many at once in ``solving.fixes``."""
