"""Poses from the corners of tags: one frame at a time in ``single``, many at once in ``fixes``."""
