"""Intervals and comparisons: how sure a figure is."""
