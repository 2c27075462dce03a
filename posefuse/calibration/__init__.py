"""What a camera's pictures of a printed board say about its lens."""

from posefuse.calibration.board import Board, Markers, load_board
from posefuse.calibration.lens import FittedView, LensCalibration, calibrate_lens
from posefuse.calibration.views import BoardSurvey, BoardView, find_board, survey_images

__all__ = [
    "Board",
    "BoardSurvey",
    "BoardView",
    "FittedView",
    "LensCalibration",
    "Markers",
    "calibrate_lens",
    "find_board",
    "load_board",
    "survey_images",
]
