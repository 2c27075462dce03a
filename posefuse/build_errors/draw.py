"""One build: a draw of every build error, and its constants in a row."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from posefuse.arena.arena import Arena
from posefuse.build_errors.catalogue import BUILD_ERRORS, BuildError, Owner
from posefuse.build_errors.constants import Constants, owners_of
from posefuse.build_errors.spreads import BuildSpreads
from posefuse.checks import FloatArray, locked
from posefuse.errors import InputError
from posefuse.randomness.streams import named_normals, stream
from posefuse.robot.rig import Rig

__all__ = ["AsBuilt", "as_drawn", "draw_as_built"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AsBuilt:
    """The build errors of one trial, by name: arrays (owners, axes).

    ``as_built["mount_angle_rad"]`` is (mounts, 3), ``as_built["lean_rad"]`` (1, 2).
    """

    values: Mapping[str, FloatArray]

    def __getitem__(self, name: str) -> FloatArray:
        return self.values[name]

    def row(self, constants: Constants) -> FloatArray:
        """The same as one row, (p,), in the order of the constants."""
        parts = [self._of(Owner.MOUNT), self._of(Owner.TAG)]
        lean, wheels = self.values["lean_rad"], self._of(Owner.WHEEL)
        rest = [
            self.values[error.name]
            for error in BUILD_ERRORS
            if error.owner is Owner.ROBOT and error.name != "lean_rad"
        ]
        row = np.concatenate([part.ravel() for part in (*parts, lean, wheels, *rest)])
        if len(row) != len(constants):
            raise InputError(f"constants: {len(constants)} given, the build has {len(row)}")
        return row

    @property
    def odometry(self) -> FloatArray:
        """Wheel radii, slip, gyro bias and scale, (wheels + 3,): see ``motion.wheels``."""
        names = ("slip_fraction", "gyro_bias_rad_per_s", "gyro_scale_fraction")
        rest = [self.values[name].ravel() for name in names]
        return np.concatenate([self.values["wheel_radius_fraction"].ravel(), *rest])

    def with_row(self, row: FloatArray, constants: Constants) -> Self:
        """The build whose constants are this row, (p,)."""
        values = {name: array.copy() for name, array in self.values.items()}
        for name, array in values.items():
            array[...] = row[constants.places(name)].reshape(array.shape)
        return replace(self, values=_locked(values))

    def _of(self, owner: Owner) -> FloatArray:
        return np.concatenate(
            [self.values[error.name] for error in BUILD_ERRORS if error.owner is owner], axis=1
        )


def draw_as_built(
    spreads: BuildSpreads, *, rig: Rig, arena: Arena, seed: int, trial: int
) -> AsBuilt:
    """One draw of every build error.

    Mounts draw by their name, tags by their id and wheels by their number, so that rival rigs share
    what they have in common.
    """
    spreads, owners = spreads.with_gyro(rig.drivetrain.gyro), owners_of(rig, arena)

    def drawn(error: BuildError) -> FloatArray:
        spread, names, width = spreads[error.name], owners[error.owner], len(error.axes)
        source = f"as built: {error.stream}"
        if spread == 0.0:
            return np.zeros((len(names), width))
        if error.owner is Owner.TAG:
            ids = np.array([tag.id for tag in arena.tags], dtype=np.int64)
            return spread * named_normals(seed, trial, source, ids, width)
        streams = [stream(seed, trial, f"{source}: {name}") for name in names]
        return spread * np.array([one.standard_normal(width) for one in streams])

    return AsBuilt(values=_locked({error.name: drawn(error) for error in BUILD_ERRORS}))


def as_drawn(rig: Rig, arena: Arena) -> AsBuilt:
    """The build without errors."""
    owners = owners_of(rig, arena)
    shapes = {error.name: (len(owners[error.owner]), len(error.axes)) for error in BUILD_ERRORS}
    return AsBuilt(values=_locked({name: np.zeros(shape) for name, shape in shapes.items()}))


def _locked(values: dict[str, FloatArray]) -> Mapping[str, FloatArray]:
    return {name: locked(array) for name, array in values.items()}
