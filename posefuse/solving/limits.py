"""Which corners are no square to solve, and when two solutions are the same one."""

__all__ = ["LEAST_AREA_PX2", "SAME_TURN_RAD"]

LEAST_AREA_PX2 = 4.0
"""Corners that enclose less are refused: a square of 2 px by 2 px."""

SAME_TURN_RAD = 5e-3
"""Two solutions turned by less against each other are the same one, reached from two starts."""
