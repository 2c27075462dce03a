"""What the words in a report mean, and the caution that goes with it."""

__all__ = ["AIM_WORDS", "CAUTION", "COMPARISON_WORDS", "HIT_WORDS", "REPLAY_WORDS"]

CAUTION = (
    "Take care: moving robots and thrown pieces can hurt. The figures here are estimates from a "
    "model, not a promise. Wear eye protection and keep the range clear; event rules, local codes "
    "and the supervising adult decide."
)

_ERRORS = {
    "Distance error": "Distance to the goal as estimated at that instant, minus the true one: "
    "positive is too far.",
    "RMS": "Root mean square: the usual size of an error, large ones counting more.",
    "Bias": "The mean error: what a fixed correction could take away.",
    "95th percentile": "95 of 100 errors are smaller than this.",
    "Forecast": "The error to be expected, from one linear pass along the true path with the "
    "plan's own filter: noise, errors of the build, bias of the detector. No trial goes into it. "
    "Of a filter that knows how exact builds are it is the error that the filter itself states.",
    "Attainable": "The least error that any filter could reach on the same sightings and wheels "
    "which knows how exact builds are, but not this build (posterior Cramér-Rao bound over the "
    "path and the errors of the build together; corners found without bias).",
    "White-noise bound": "The same if everything were built exactly as drawn: what is left is "
    "noise. It judges whether a filter is consistent, not what a team can reach.",
    "No recent update": "Share of the shots (or of the time) at which no sighting younger than "
    "half a second had reached the filter and been fused.",
    "Pivot error": "How far off the shooter's pivot would be if the estimated distance set it.",
    "NEES": "Squared error in units of the covariance that the filter states (normalised "
    "estimation error squared). For x, y and heading together a consistent filter has 3 on "
    "average; an overconfident one has more, an underconfident one less.",
    "NIS": "The same for each measurement against what the filter expected of it (normalised "
    "innovation squared); a consistent filter has as much as the measurement has numbers.",
}
_COUNTS = {
    "Gated": "Measurements refused because they lay too far from what the filter expected.",
    "Too late": "Arrived when the filter could no longer insert them at their instant.",
    "No solution": "No pose fits the corners, or the measurement is impossible from where the "
    "filter believes the robot to be.",
    "Ambiguous": "Two poses fitted the corners, and the settings say to skip those.",
    "Outside run": "Captured before the first or after the last row of the odometry.",
    "Frames lost": "Taken by a camera and never arrived.",
}
COMPARISON_WORDS = {
    **_ERRORS,
    "95 % interval": "In about 95 of 100 studies with other random draws it holds the true figure; "
    "it rests on the spread between trials, each a build of its own.",
    "Difference to the best": "Against the best of the other plans, paired trial by trial: every "
    "plan meets identical random draws in the same trial. The intervals of all plans hold together "
    "in about 95 of 100 studies. For hits the best is the plan of which the most go in.",
    "Probability of being the best": "That no other plan has a smaller error, by these trials "
    "(posterior, all plans alike beforehand).",
    "Tie": "These trials cannot separate the two plans: choose by cost, weight or wiring.",
    "Fix first": "What the distance error forecast is made of: shares of its mean square, each "
    "kind of build error over all cameras, tags and wheels together; ± is the spread that the "
    "study states. Bias of detector and motion comes back in every trial: corners drawn aside, "
    "slip, knocks, lean under acceleration. Of a filter that estimates errors of the build, what "
    "is left of them and noise are one part.",
    "Its filter": "The spreads in its file are raised or lowered by one factor, and the trials run "
    "again, until NEES is what a consistent filter has. Where a filter believes other spreads of "
    "the build than the study states, these are named instead.",
    **_COUNTS,
}
REPLAY_WORDS = {
    **_ERRORS,
    "95 % interval": "Of this run alone: where the figure would lie in repeats on the same course "
    "by the robot as it is built. The run is cut into blocks longer than its errors stay alike. "
    "Another build errs by other constants, of which one run knows nothing.",
    **_COUNTS,
}
AIM_WORDS = {
    "Pivot": "The angle of the throw above level that brings the piece from that distance through "
    "the middle of the opening. Two of them do: the flat low arc and the steep high arc.",
    "Slope": "How much the pivot changes with the distance: times a distance error it is the pivot "
    "error.",
    "Interpolation error": "How far a straight line between this row and the next strays from the "
    "exact pivot.",
    "Entry": "How steeply below level the piece comes in; below zero it still rises.",
    "Short by, long by": "How much too short or too long the estimated distance may be so that a "
    "shot without spread still goes in, clear of the rim. “any”: more than 5 m, or all the way.",
    "Left by, right by": "The same for how far to the left or right of its true direction the goal "
    "may be believed.",
    "Hits per 100": "Of shots with a perfect estimate, by the shooter's own spread.",
    "Tolerable sigma": "The distance error (1 sigma) that costs one hit in 100. A better camera "
    "rig than that adds nothing from there. “any”: 2 m cost no more than that.",
    "Most tolerant pivot": "The pivot that still scores with the largest distance error, too short "
    "or too long, and how large that error is.",
}
HIT_WORDS = {
    "Hits per 100": "Expected hits: for each shot the probability that it goes in, clear of the "
    "rim, with the error that the estimate had at that instant and the shooter's own spread. The "
    "robot is taken to face as it commands itself to, and to keep its motion until the piece "
    "leaves.",
    "Perfect estimate": "The same shots if the robot knew its pose and velocity exactly: what is "
    "missing from 100 is the shooter's own spread.",
    "Lead": "On the move a throw takes the robot's motion along. The robot aims beside the goal by "
    "the velocity that its wheels measure at that instant, turned by the estimated heading.",
}
