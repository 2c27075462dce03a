"""From the distance to a goal to the pivot of the shooter, and from its error to missed shots.

=====================  ==========================================================================
how a piece flies      ``air``, ``flight_law``, ``ballistics`` (no air, closed form), ``flight``
which pivot            ``arcs`` (both solutions), ``pivot``, ``aim`` (a shooter ready for a goal)
what scores            ``shots``, ``hit_probability``, ``tolerance``
tables for a robot     ``table``, ``tabulate``, ``sheet`` (everything about one arc)
measured shots         ``fit``, ``next_shots``
files                  ``load``
inner loops            ``compiled``, and ``arrays``: what they take
=====================  ==========================================================================
"""
