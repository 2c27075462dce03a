"""Robots, cameras, measured detector responses and rigs from files."""

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from posefuse.checks import FloatArray
from posefuse.errors import FileError, InputError
from posefuse.files.references import referenced
from posefuse.files.table_file import read_table
from posefuse.files.toml_file import Faults, all_faults_of, in_file, load_toml, read_toml
from posefuse.robot.body import Body
from posefuse.robot.camera import Camera, CornerRefinement, Imaging, Lens
from posefuse.robot.camera_schema import CameraFile
from posefuse.robot.drivetrain import Drivetrain
from posefuse.robot.image_quality import ImageQuality
from posefuse.robot.measured_response import (
    AXIS_COLUMNS,
    EXTRA_COLUMNS,
    VALUE_COLUMNS,
    MeasuredResponse,
    recipe_path,
)
from posefuse.robot.rig import Mount, Ranger, Rig
from posefuse.robot.schema import MountEntry, RigFile, RobotFile

__all__ = [
    "camera_sources",
    "load_camera",
    "load_imaging",
    "load_response",
    "load_rig",
    "load_robot",
    "measured_refinement",
    "read_response_table",
    "rig_sources",
]


def load_camera(path: Path | str) -> Camera:
    """The camera a file describes.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    file = load_toml(path, CameraFile)
    lens, image = _optics(path, file)
    with in_file(path, key=("timing", "latency_jitter_s")):
        timing = file.timing.timing()
    measured = None
    if file.detector.table is not None:
        with in_file(path, key=("detector", "table")):
            table = referenced(path, file.detector.table)
        with in_file(path, key=("detector", "refinement")):
            _refuse_other_refinement(table, file.detector.refinement)
        measured = load_response(table, noise_grey=image.noise_grey, defocus_px=image.defocus_px)
    with in_file(path, key=("detector",)):
        detector = file.detector.detector(measured)
    return Camera(
        name=file.name,
        lens=lens,
        sensor=file.sensor(),
        timing=timing,
        detector=detector,
        image=image,
    )


def _refuse_other_refinement(table: Path, refinement: CornerRefinement) -> None:
    """Raises where other corners were measured than the camera's detector will find in images."""
    measured = measured_refinement(table)
    if measured not in (None, refinement.value):
        raise InputError(
            f"must be {measured!r}, with which {table.name} was measured by the recipe beside it "
            f"(got {refinement.value!r})"
        )


def measured_refinement(table: Path) -> str | None:
    """The refinement of the corners in a table, by the recipe beside it; ``None``: not said."""
    recipe = recipe_path(table)
    settings = read_toml(recipe).get("detector") if recipe.is_file() else None
    said = settings.get("refinement") if isinstance(settings, dict) else None
    return None if said is None else str(said)


def load_imaging(path: Path | str) -> Imaging:
    """What decides a camera's images, from its file; a response table that it names is not read.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    file = load_toml(path, CameraFile)
    lens, image = _optics(path, file)
    return Imaging(
        name=file.name,
        lens=lens,
        sensor=file.sensor(),
        image=image,
        refinement=file.detector.refinement,
    )


def _optics(path: Path, file: CameraFile) -> tuple[Lens, ImageQuality]:
    with in_file(path, key=("field_of_view_deg",)):
        lens = file.lens()
    with in_file(path, key=("image",)):
        return lens, file.image.quality(file.timing.exposure_s)


def load_robot(path: Path | str) -> tuple[Body, Drivetrain]:
    """The body and the drivetrain that a robot file describes.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    file = load_toml(path, RobotFile)
    with in_file(path, key=("drivetrain", "wheels_m")):
        drivetrain = file.drivetrain.drivetrain(file.gyro)
    with in_file(path):
        return file.body(), drivetrain


def load_rig(path: Path | str) -> Rig:
    """A robot with its cameras: a rig file and the robot and camera files that it names.

    Raises
    ------
    FileError
        With one line for each fault, of this file or of those it names.
    """
    path = Path(path)
    file = load_toml(path, RigFile)
    robots: list[tuple[Body, Drivetrain]] = []
    cameras: dict[str, Camera] = {}
    with all_faults_of(path) as faults:
        with faults.at("robot"):
            robots.append(load_robot(referenced(path, file.robot)))
        for index, entry in enumerate(file.mount):
            if entry.camera not in cameras:
                with faults.at("mount", index, "camera"):
                    cameras[entry.camera] = load_camera(referenced(path, entry.camera))
        _refuse_repeated_names(faults, file)
        faults.stop_if_any()
        ((body, drivetrain),) = robots
        if file.shooter is not None:
            body = replace(body, shooter=file.shooter.shooter())
        mounts = tuple(_mount(entry, cameras[entry.camera]) for entry in file.mount)
        for index, mount in enumerate(mounts):
            with faults.at(
                "mount", index, "position_m"
            ):  # each alone, so that the message names its own line
                Rig(name=file.name, body=body, drivetrain=drivetrain, mounts=(mount,))
        faults.stop_if_any()
        return Rig(
            name=file.name,
            body=body,
            drivetrain=drivetrain,
            mounts=mounts,
            rangers=tuple(
                Ranger(name=entry.name, position_in_robot_m=np.array(entry.position_m))
                for entry in file.ranger
            ),
        )


def rig_sources(path: Path | str) -> tuple[Path, ...]:
    """The files a rig is read from, each once: its own, the robot's and those of its cameras."""
    path = Path(path)
    file = load_toml(path, RigFile)
    cameras = [path.parent / name for name in dict.fromkeys(entry.camera for entry in file.mount)]
    of_cameras = [source for camera in cameras for source in camera_sources(camera)]
    return tuple(dict.fromkeys([path, path.parent / file.robot, *of_cameras]))


def camera_sources(path: Path | str) -> tuple[Path, ...]:
    """The files a camera is read from: its own, the table that it names and the table's recipe."""
    path = Path(path)
    name = load_toml(path, CameraFile).detector.table
    if name is None:
        return (path,)
    table = path.parent / name
    recipe = recipe_path(table)
    return (path, table, recipe) if recipe.is_file() else (path, table)


def _refuse_repeated_names(faults: Faults, file: RigFile) -> None:
    places = [(entry.name, "mount", index) for index, entry in enumerate(file.mount)]
    places += [(entry.name, "ranger", index) for index, entry in enumerate(file.ranger)]
    used: dict[str, str] = {}
    for name, kind, index in places:
        if name in used:
            faults.add(f"{name!r} is used by {used[name]} already", kind, index, "name")
        used.setdefault(name, f"{kind}.{index + 1}")


def _mount(entry: MountEntry, camera: Camera) -> Mount:
    return Mount(
        name=entry.name,
        camera=camera,
        position_in_robot_m=np.array(entry.position_m),
        pan_rad=math.radians(entry.pan_deg),
        tilt_rad=math.radians(entry.tilt_deg),
        roll_rad=math.radians(entry.roll_deg),
    )


def read_response_table(path: Path) -> tuple[dict[str, FloatArray], list[FloatArray]]:
    """A table's columns by name, and the points of its axes in the order of ``AXIS_COLUMNS``.

    Raises
    ------
    FileError
        The table does not hold each combination of its axes' values once.
    """
    table = read_table(path, [*AXIS_COLUMNS, *VALUE_COLUMNS], optional=EXTRA_COLUMNS)
    axes = [np.unique(table[name]) for name in AXIS_COLUMNS]
    _refuse_gaps(path, table, axes)
    return table, axes


def load_response(path: Path, *, noise_grey: float, defocus_px: float) -> MeasuredResponse:
    """The response in a table at a noise and defocus, linear between those measured.

    Raises
    ------
    FileError
        The table does not hold each combination of its axes' values once, or was not measured at
        such noise or defocus.
    """
    table, axes = read_response_table(path)
    order = np.lexsort([table[name] for name in reversed(AXIS_COLUMNS)])
    shape = tuple(len(axis) for axis in axes)
    values = np.stack([table[name][order].reshape(shape) for name in VALUE_COLUMNS], axis=-1)
    values = _between(path, values, axes[4], "defocus_px", defocus_px, axis=4)
    values = _between(path, values, axes[3], "noise_grey", noise_grey, axis=3)
    try:
        return MeasuredResponse(
            edges_px=axes[0],
            incidences_rad=np.radians(axes[1]),
            blurs_px=axes[2],
            **{name: values[..., place] for place, name in enumerate(VALUE_COLUMNS[:-2])},
            shift_px=values[..., -2:],
        )
    except InputError as error:
        raise FileError(path, str(error)) from None


def _refuse_gaps(path: Path, table: dict[str, FloatArray], axes: list[FloatArray]) -> None:
    rows = list(zip(*(table[name].tolist() for name in AXIS_COLUMNS), strict=True))
    if not rows:
        raise FileError(path, "holds no rows")
    seen = set(rows)
    if len(seen) < len(rows):
        repeated = next(row for n, row in enumerate(rows) if row in rows[:n])
        raise FileError(path, f"{_place(repeated)} appears twice")
    for combination in itertools.product(*(axis.tolist() for axis in axes)):
        if combination not in seen:
            raise FileError(path, f"no row for {_place(combination)}: every combination needs one")


def _place(row: tuple[float, ...]) -> str:
    return ", ".join(f"{name} = {value:g}" for name, value in zip(AXIS_COLUMNS, row, strict=True))


def _between(
    path: Path, values: FloatArray, points: FloatArray, name: str, wanted: float, *, axis: int
) -> FloatArray:
    """Values at a point of one axis, which drops out."""
    low, high = float(points[0]), float(points[-1])
    slack = 1e-3 * max(1.0, abs(wanted))  # tables are rounded
    if not low - slack <= wanted <= high + slack:
        raise FileError(
            path,
            f"was measured for {name} {low:g} to {high:g}; the camera's [image] gives {wanted:.3g}",
        )
    place = float(np.interp(wanted, points, np.arange(len(points))))
    first = min(math.floor(place), max(len(points) - 2, 0))
    second = min(first + 1, len(points) - 1)
    share = place - first
    one, two = np.take(values, first, axis=axis), np.take(values, second, axis=axis)
    return np.asarray(one + share * (two - one))
