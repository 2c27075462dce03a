"""Exit speed, drag and pivot offset from measured shots."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy.special import stdtrit

from posefuse.aim.flight import ahead_m, fly, side_view
from posefuse.aim.flight_law import flight_law
from posefuse.checks import BoolArray, FloatArray, frozen_array, in_range
from posefuse.errors import InputError
from posefuse.robot.shooter import MOST_SPEED_M_PER_S, Drag, Shooter
from posefuse.units import to_degrees

__all__ = [
    "SCALES",
    "Fitted",
    "MeasuredShots",
    "ShotFit",
    "central_slopes",
    "fit_shots",
    "flown_points_m",
    "with_values",
]

BELOW_M = 3.0
FIRST_COEFFICIENT = 0.4
NUDGE = 1e-2
SINGULAR_RATIO = 1e-6


class Fitted(StrEnum):
    """What can be found from measured shots."""

    EXIT_SPEED = "exit_speed"
    DRAG = "drag"
    PIVOT_OFFSET = "pivot_offset"


SCALES = {Fitted.EXIT_SPEED: 1.0, Fitted.DRAG: 0.1, Fitted.PIVOT_OFFSET: 0.02}
"""m/s, of the coefficient, rad: changes of like effect. The solver works in these units."""
LIMITS = {
    Fitted.EXIT_SPEED: (0.2, MOST_SPEED_M_PER_S - 1.0),
    Fitted.DRAG: (0.002, 5.0),  # so that no difference leaves what is allowed
    Fitted.PIVOT_OFFSET: (-0.5, 0.5),
}
UNITS = {Fitted.EXIT_SPEED: " m/s", Fitted.DRAG: "", Fitted.PIVOT_OFFSET: " rad"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredShots:
    """Shots at known pivots, and a point of each path.

    Parameters
    ----------
    pivots_rad : (n,) array
        As the robot set them.
    distances_m, heights_m : (n,) arrays
        A point the piece went through: level distance from the robot's middle, and height.
    is_height_measured : (n,) bools
        Whether the height was measured where the distance was given, as on a wall; else the
        distance where the piece came down to the given height, as on the floor.
    """

    pivots_rad: FloatArray
    distances_m: FloatArray
    heights_m: FloatArray
    is_height_measured: BoolArray

    def __post_init__(self) -> None:
        count = len(self.pivots_rad)
        for name in ("pivots_rad", "distances_m", "heights_m"):
            array = frozen_array(f"measured shots: {name}", getattr(self, name), (count,))
            object.__setattr__(self, name, array)
        if (self.distances_m <= 0.0).any():
            raise InputError(
                f"measured shots: distances must be above 0 (got {self.distances_m.min():g} m)"
            )
        outside = (self.pivots_rad < 0.0) | (self.pivots_rad > np.pi / 2)
        if outside.any():
            worst = to_degrees(float(self.pivots_rad[np.argmax(outside)]))
            raise InputError(
                f"measured shots: pivots must be between 0 and 90 degrees (got {worst:g})"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShotFit:
    """What was found from the shots, with intervals.

    Parameters
    ----------
    shooter
        With the exit speed and drag coefficient found.
    pivot_offset_rad
        The true pivot less the one set.
    free
        What was fitted; the rest kept what the shooter had.
    values, lows, highs : (free,) arrays
        In m/s, as a drag coefficient, in rad; the interval at ``level`` by Student's t.
    cov : (free, free) array
        Covariance of the values.
    residual_std_m
        Scatter of the measured points about the fit.
    """

    shooter: Shooter
    pivot_offset_rad: float
    free: tuple[Fitted, ...]
    values: FloatArray
    lows: FloatArray
    highs: FloatArray
    cov: FloatArray
    residual_std_m: float
    level: float


def fit_shots(
    shots: MeasuredShots,
    *,
    shooter: Shooter,
    free: Sequence[Fitted] = tuple(Fitted),
    level: float = 0.95,
) -> ShotFit:
    """Exit speed, constant drag coefficient and pivot offset by least squares over the points.

    Intervals from the Jacobian at the solution: G. A. F. Seber, C. J. Wild, Nonlinear Regression,
    1989, sec. 2.1.

    Parameters
    ----------
    shooter
        Its speed and drag coefficient are where the search starts.

    Raises
    ------
    InputError
        The shooter's piece is not known, there are too few shots, they cannot separate the free
        values, or no plausible value fits them.
    """
    from scipy.optimize import least_squares  # heavy

    in_range("level", level, 0.0, 1.0)
    model = _model(shots, shooter, free)
    found = least_squares(
        model.residuals,
        model.start,
        jac=model.slopes,
        bounds=model.bounds,
        xtol=1e-12,
        ftol=1e-12,
    )
    inverse = _inverse_information(model.slopes(found.x), free)
    _refuse_implausible(found.x * model.scales, free)
    dof = len(shots.pivots_rad) - len(free)
    variance = float(found.fun @ found.fun) / dof
    cov = variance * inverse * np.outer(model.scales, model.scales)
    values = found.x * model.scales
    reach = float(stdtrit(dof, 0.5 + level / 2.0)) * np.sqrt(np.diag(cov))
    fitted, offset = model.shooter_of(found.x)
    return ShotFit(
        shooter=fitted,
        pivot_offset_rad=offset,
        free=tuple(free),
        values=values,
        lows=values - reach,
        highs=values + reach,
        cov=cov,
        residual_std_m=float(np.sqrt(variance)),
        level=level,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Model:
    """Measured minus flown, over the free values divided by their scales."""

    shots: MeasuredShots
    shooter: Shooter
    free: tuple[Fitted, ...]

    @property
    def scales(self) -> FloatArray:
        return np.array([SCALES[name] for name in self.free])

    @property
    def start(self) -> FloatArray:
        piece = self.shooter.projectile
        coefficient = piece.drag_coefficient if piece else None
        values = {
            Fitted.EXIT_SPEED: self.shooter.exit_speed_m_per_s,
            Fitted.DRAG: FIRST_COEFFICIENT if coefficient is None else coefficient,
            Fitted.PIVOT_OFFSET: 0.0,
        }
        plausible = [np.clip(values[name], *LIMITS[name]) for name in self.free]
        return np.array(plausible) / self.scales

    @property
    def bounds(self) -> tuple[FloatArray, FloatArray]:
        limits = np.array([LIMITS[name] for name in self.free])
        return limits[:, 0] / self.scales, limits[:, 1] / self.scales

    def shooter_of(self, scaled: FloatArray) -> tuple[Shooter, float]:
        """The shooter with these values, and its pivot offset."""
        values = dict(zip(self.free, (scaled * self.scales).tolist(), strict=True))
        return with_values(self.shooter, values), values.get(Fitted.PIVOT_OFFSET, 0.0)

    def residuals(self, scaled: FloatArray) -> FloatArray:
        shooter, offset = self.shooter_of(scaled)
        measured = np.where(
            self.shots.is_height_measured, self.shots.heights_m, self.shots.distances_m
        )
        return flown_points_m(self.shots, shooter=shooter, pivot_offset_rad=offset) - measured

    def slopes(self, scaled: FloatArray) -> FloatArray:
        return central_slopes(self.residuals, scaled)


def _model(shots: MeasuredShots, shooter: Shooter, free: Sequence[Fitted]) -> _Model:
    if shooter.projectile is None:
        raise InputError("fit: the shooter has no projectile: its mass and diameter are needed")
    if not free or len(set(free)) != len(free):
        raise InputError("fit: name one value or more to fit, each once")
    needed = len(free) + 1
    if len(shots.pivots_rad) < needed:
        raise InputError(
            f"fit: {needed} shots or more are needed for {len(free)} values "
            f"(got {len(shots.pivots_rad)})"
        )
    return _Model(shots=shots, shooter=shooter, free=tuple(free))


def with_values(shooter: Shooter, values: Mapping[Fitted, float]) -> Shooter:
    """The shooter with another exit speed and a constant drag coefficient, where given."""
    piece = shooter.projectile
    if piece is not None and Fitted.DRAG in values:
        piece = replace(piece, drag=Drag.CONSTANT, drag_coefficient=values[Fitted.DRAG])
    speed = values.get(Fitted.EXIT_SPEED, shooter.exit_speed_m_per_s)
    return replace(shooter, exit_speed_m_per_s=speed, projectile=piece)


def flown_points_m(
    shots: MeasuredShots, *, shooter: Shooter, pivot_offset_rad: float = 0.0
) -> FloatArray:
    """What a measurement of each shot would give without error: a distance or a height, (n,).

    A piece that never gets there counts as 0.
    """
    pivots = shots.pivots_rad + pivot_offset_rad
    starts, velocities = side_view(shooter, pivots)
    on_wall = shots.is_height_measured
    points = np.zeros((len(pivots), 3))
    points[on_wall, 0] = ahead_m(shots.distances_m, shooter)[on_wall]
    points[~on_wall, 2] = shots.heights_m[~on_wall]
    flown = fly(
        starts,
        velocities,
        law=flight_law(shooter),
        plane_points_m=points,
        plane_normals=np.where(on_wall[:, None], (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0)),
        floor_m=np.minimum(shots.heights_m, 0.0) - BELOW_M,
    ).points_m
    left = float(shooter.release_in_robot_m[1])
    return np.nan_to_num(np.where(on_wall, flown[:, 2], np.hypot(flown[:, 0], left)))


def central_slopes(function: Callable[[FloatArray], FloatArray], at: FloatArray) -> FloatArray:
    """The Jacobian (m, k) by central differences, in steps far above a flight's own error."""
    columns = []
    for k in range(len(at)):
        nudge = np.zeros_like(at)
        nudge[k] = NUDGE
        columns.append((function(at + nudge) - function(at - nudge)) / (2.0 * NUDGE))
    return np.stack(columns, axis=-1)


def _refuse_implausible(values: FloatArray, free: Sequence[Fitted]) -> None:
    """Refuses values that the solver pushed to the end of what is plausible."""
    for name, value in zip(free, values.tolist(), strict=True):
        low, high = LIMITS[name]
        if name is Fitted.DRAG and value - low < 1e-3:
            raise InputError("fit: these shots show no drag: leave drag out of the fitted values")
        if min(value - low, high - value) < 1e-3 * (high - low):
            end = low if value - low < high - value else high
            raise InputError(
                f"fit: no plausible {name.value} fits these shots (the search ended at {end:g}"
                f"{UNITS[name]}): check their units, and the release and the piece in [shooter]"
            )


def _inverse_information(jacobian: FloatArray, free: Sequence[Fitted]) -> FloatArray:
    sizes = np.linalg.svd(jacobian, compute_uv=False)
    if not sizes[-1] > SINGULAR_RATIO * sizes[0]:
        names = " and ".join(name.value for name in free)
        raise InputError(
            f"fit: these shots cannot separate {names}: measure at other pivots and distances"
        )
    return np.asarray(np.linalg.inv(jacobian.T @ jacobian))
