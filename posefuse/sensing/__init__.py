"""Cameras at corner level: what they can see, when, and what their detectors report."""
