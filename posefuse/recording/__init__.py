"""The Recording: what a run leaves behind, simulated or real, and its folder on disk."""
