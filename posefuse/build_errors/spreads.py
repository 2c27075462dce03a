"""How far off builds are: one standard deviation for each build error."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Self

from posefuse.build_errors.catalogue import BUILD_ERRORS
from posefuse.checks import not_negative
from posefuse.errors import InputError
from posefuse.robot.drivetrain import Gyro

__all__ = ["BuildSpreads"]


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildSpreads:
    """Spread (one standard deviation, each axis) of every build error; zero switches it off.

    >>> BuildSpreads.of(mount_angle_rad=0.01)["mount_angle_rad"]
    0.01
    >>> BuildSpreads.of()["tag_position_m"]
    0.0
    """

    values: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known = {error.name for error in BUILD_ERRORS}
        for name, value in self.values.items():
            if name not in known:
                raise InputError(
                    f"as_built: {name!r} is no build error (known: {', '.join(sorted(known))})"
                )
            not_negative(f"as_built: {name}", value)
        complete = {error.name: float(self.values.get(error.name, 0.0)) for error in BUILD_ERRORS}
        object.__setattr__(self, "values", complete)

    @classmethod
    def of(cls, **values: float) -> Self:
        """From the spreads that are not zero, by name."""
        return cls(values=values)

    def __getitem__(self, name: str) -> float:
        return self.values[name]

    def text(self) -> str:
        """The spreads that are not zero, as people read them.

        >>> BuildSpreads.of(mount_position_m=0.003, focal_fraction=0.002).text()
        'mount position ±3 mm, focal length ±0.2 %'
        """
        known = [
            f"{error.label} {error.spread_text(self[error.name], digits=6)}"
            for error in BUILD_ERRORS
            if self[error.name] > 0.0
        ]
        return ", ".join(known) or "none"

    def changed(self, **values: float) -> Self:
        """The same with some spreads replaced."""
        return type(self)(values={**self.values, **values})

    def scaled(self, factor: float) -> Self:
        """Every spread times a factor."""
        return type(self)(values={name: factor * value for name, value in self.values.items()})

    def with_gyro(self, gyro: Gyro | None) -> Self:
        """The same with the spreads of the robot's gyro, which stand in its file."""
        if gyro is None:
            return self.changed(gyro_bias_rad_per_s=0.0, gyro_scale_fraction=0.0)
        return self.changed(
            gyro_bias_rad_per_s=gyro.bias_rad_per_s, gyro_scale_fraction=gyro.scale_fraction
        )
