"""The arena: its size, tags, beacons, goals and the boxes that stand in it."""

from posefuse.fieldlayout.layout import Beacon, FieldLayout, Goal, Obstacle, Tag

__all__ = ["Beacon", "FieldLayout", "Goal", "Obstacle", "Tag"]
