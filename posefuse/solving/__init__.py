"""Poses from the corners of tags: one frame at a time here, many at once in ``solving.fixes``."""

from posefuse.solving.single import CameraFix, TagFix, fix_from_corners, fix_from_tags

__all__ = ["CameraFix", "TagFix", "fix_from_corners", "fix_from_tags"]
