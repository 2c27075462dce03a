"""Boards, and cameras whose lens is to be replaced, from files."""

from pathlib import Path

from posefuse.calibration.board import Board, printable_square_m
from posefuse.calibration.camera_file import BaseCamera
from posefuse.calibration.schema import BoardFile
from posefuse.files.text_file import read_text
from posefuse.files.toml_file import in_file, load_toml
from posefuse.robot.load import load_camera

__all__ = ["load_base_camera", "load_board"]


def load_board(path: Path | str) -> Board:
    """The board a file describes.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    path = Path(path)
    file = load_toml(path, BoardFile)
    with in_file(path, key=("square_m",)):
        printable_square_m(file.square_m)
    with in_file(path, key=("family",)):
        markers = file.markers()
    with in_file(path, key=("marker_m",)):
        return Board(
            name=file.name,
            squares_across=file.squares_across,
            squares_down=file.squares_down,
            square_m=file.square_m,
            markers=markers,
        )


def load_base_camera(path: Path) -> BaseCamera:
    """The camera file at ``path``, checked.

    Raises
    ------
    FileError
        With one line for each fault.
    """
    sensor = load_camera(path).sensor
    return BaseCamera(
        path=path, text=read_text(path), width_px=sensor.width_px, height_px=sensor.height_px
    )
