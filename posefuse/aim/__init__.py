"""From the distance to a goal to the pivot of the shooter, and from its error to missed shots."""
