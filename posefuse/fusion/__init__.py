"""Filters and their settings: a recording to the pose at every instant, as it stood then."""
