"""The arena: its size, tags, beacons, goals and the boxes that stand in it."""
