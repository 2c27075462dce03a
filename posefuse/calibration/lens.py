"""A camera's lens from pictures of a board."""

from dataclasses import dataclass

import numpy as np

from posefuse.calibration.board import Board
from posefuse.calibration.fitting import fit_lens
from posefuse.calibration.variety import not_this_board, shortcomings, tilts_rad
from posefuse.calibration.views import BoardSurvey, BoardView
from posefuse.checks import FloatArray, frozen_array
from posefuse.errors import InputError
from posefuse.geometry.space import SpacePose
from posefuse.robot.camera import Lens

__all__ = [
    "DISTORTION_TERMS",
    "FittedView",
    "LensCalibration",
    "LensNumber",
    "calibrate_lens",
    "named_numbers",
]

DISTORTION_TERMS = ("k1", "k2", "p1", "p2", "k3", "k4", "k5", "k6")
"""In the order of ``Lens.distortion``."""

_LEAST_FOUND_SHARE = 0.5
_MOST_RMS_SHARE = 0.002
"""Larger errors, as a share of the image's diagonal, come from a wrong board, not from noise."""

_MOST_FOCAL_FRACTION = 0.01
_ODD_VIEW_RATIO, _ODD_VIEW_PX = 3.0, 0.5


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FittedView:
    """One picture of the board, where the board was, and how well the lens explains it.

    Parameters
    ----------
    residuals_px : (n, 2) array
        Found minus projected.
    """

    view: BoardView
    camera_from_board: SpacePose
    residuals_px: FloatArray

    @property
    def rms_px(self) -> float:
        """Root of the mean squared distance between a corner found and its projection."""
        return float(np.sqrt((self.residuals_px**2).sum(axis=1).mean()))

    @property
    def tilts_rad(self) -> FloatArray:
        """Tilt about the image's vertical and horizontal axis: see ``variety.tilts_rad``."""
        return tilts_rad(self.camera_from_board)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LensCalibration:
    """A measured lens.

    Parameters
    ----------
    focal_std_px, centre_std_px, distortion_std
        One standard deviation of each number of the lens; 0 for what was kept fixed.
    terms
        How many distortion terms were free.
    rms_px
        Root of the mean squared distance between a corner found and its projection.
    """

    board: Board
    width_px: int
    height_px: int
    lens: Lens
    focal_std_px: FloatArray
    centre_std_px: FloatArray
    distortion_std: FloatArray
    terms: int
    rms_px: float
    views: tuple[FittedView, ...]

    def __post_init__(self) -> None:
        for name, length in (("focal_std_px", 2), ("centre_std_px", 2), ("distortion_std", 8)):
            object.__setattr__(self, name, frozen_array(name, getattr(self, name), (length,)))

    @property
    def odd_views(self) -> tuple[FittedView, ...]:
        """Views that fit far worse than the others: blurred, a bent board, a corner misplaced."""
        usual_px = float(np.median([view.rms_px for view in self.views]))
        most_px = max(_ODD_VIEW_RATIO * usual_px, _ODD_VIEW_PX)
        return tuple(view for view in self.views if view.rms_px > most_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class LensNumber:
    """One free number of a lens under its name, and one standard deviation of it."""

    name: str
    value: float
    value_std: float


def named_numbers(calibration: LensCalibration) -> list[LensNumber]:
    """The numbers that were measured, as a table shows them."""
    lens, terms = calibration.lens, calibration.terms
    names = ("fx (px)", "fy (px)", "cx (px)", "cy (px)", *DISTORTION_TERMS[:terms])
    values = (*lens.focal_px, *lens.centre_px, *lens.distortion[:terms])
    deviations = (
        *calibration.focal_std_px,
        *calibration.centre_std_px,
        *calibration.distortion_std[:terms],
    )
    return [
        LensNumber(name=name, value=float(value), value_std=float(deviation))
        for name, value, deviation in zip(names, values, deviations, strict=True)
    ]


def calibrate_lens(survey: BoardSurvey, board: Board, *, terms: int = 5) -> LensCalibration:
    """The lens that explains what the pictures show.

    Parameters
    ----------
    terms
        Free distortion terms: 4 (k1 k2 p1 p2), 5 (and k3) or 8 (and k4 k5 k6).

    Raises
    ------
    InputError
        The board is in too few of the pictures, they are too few or too similar, or they show
        another board; one line for each thing that is missing.
    DegenerateView
        The equations have no solution.
    """
    _refuse_mostly_absent(survey)
    size_px = (survey.width_px, survey.height_px)
    missing = shortcomings(survey.views, board, size_px=size_px)
    if missing:
        raise InputError("\n".join(missing))
    fit = fit_lens(survey.views, board, size_px=size_px, terms=terms)
    _refuse_poor(fit.rms_px, fit.lens.focal_px, fit.deviations[:2], size_px)
    return LensCalibration(
        board=board,
        width_px=survey.width_px,
        height_px=survey.height_px,
        lens=fit.lens,
        focal_std_px=fit.deviations[:2],
        centre_std_px=fit.deviations[2:4],
        distortion_std=fit.deviations[4:],
        terms=terms,
        rms_px=fit.rms_px,
        views=tuple(
            FittedView(
                view=view,
                camera_from_board=SpacePose(fit.camera_from_board.matrix[index]),
                residuals_px=fit.residuals_px[index],
            )
            for index, view in enumerate(survey.views)
        ),
    )


def _refuse_mostly_absent(survey: BoardSurvey) -> None:
    found = len(survey.views)
    every = found + len(survey.absent)
    if found >= _LEAST_FOUND_SHARE * every:
        return
    where = f"in {found} of {every} pictures" if found else f"in none of {every} pictures"
    raise InputError(
        "\n".join(
            [f"the board was found {where}: is the board file the right one?", *survey.reasons]
        )
    )


def _refuse_poor(
    rms_px: float, focal_px: FloatArray, focal_std_px: FloatArray, size_px: tuple[int, int]
) -> None:
    if rms_px > _MOST_RMS_SHARE * float(np.hypot(*size_px)):
        raise InputError(not_this_board(rms_px))
    fraction = float((focal_std_px / focal_px).max())
    if not fraction < _MOST_FOCAL_FRACTION:
        raise InputError(
            f"the focal length is known to {fraction:.1%} only (needed: {_MOST_FOCAL_FRACTION:.0%})"
            ": take more pictures, nearer to the board and with the board tilted more"
        )
