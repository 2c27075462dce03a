"""Rival plans on the same courses with the same luck, trial by trial."""
