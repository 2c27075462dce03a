"""Arena, rig, course and seed to a Recording."""
