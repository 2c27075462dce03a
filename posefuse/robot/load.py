"""Robots, cameras and rigs from files."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from posefuse.files.references import referenced
from posefuse.files.toml_file import Faults, all_faults_of, in_file, load_toml
from posefuse.robot.body import Body
from posefuse.robot.camera import Camera, CornerRefinement, ImageQuality, Imaging, Lens
from posefuse.robot.drivetrain import Drivetrain
from posefuse.robot.measured_response import load_response
from posefuse.robot.rig import Mount, Ranger, Rig
from posefuse.robot.schema import CameraFile, MountEntry, RigFile, RobotFile

__all__ = ["load_camera", "load_imaging", "load_rig", "load_robot", "rig_sources"]


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


def load_imaging(path: Path | str) -> Imaging:
    """What a camera file tells of images; a table that it names is not looked at.

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
        refinement=file.detector.refinement or CornerRefinement.SUBPIXEL,
    )


def _optics(path: Path, file: CameraFile) -> tuple[Lens, ImageQuality]:
    with in_file(path, key=("field_of_view_deg",)):
        lens = file.lens()
    with in_file(path, key=("image",)):
        return lens, file.image.quality()


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
            ):  # each alone, so that its own line is told
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
    """The files a rig is read from, each once: its own, the robot's, the cameras', their tables."""
    path = Path(path)
    file = load_toml(path, RigFile)
    cameras = [path.parent / name for name in dict.fromkeys(entry.camera for entry in file.mount)]
    tables = [
        camera.parent / table
        for camera in cameras
        if (table := load_toml(camera, CameraFile).detector.table) is not None
    ]
    return tuple(dict.fromkeys([path, path.parent / file.robot, *cameras, *tables]))


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
