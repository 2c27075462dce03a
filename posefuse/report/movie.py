"""A drive as moving pictures: the court from above beside what the cameras see."""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from posefuse.geometry.plane import PlanePose
from posefuse.plots.camera_movie import MovingFigure
from posefuse.plots.court import court_margin_m, draw_court
from posefuse.plots.drive import draw_path, draw_shots, exaggeration_of
from posefuse.plots.rig import draw_robot
from posefuse.plots.style import INK, Axes, Figure, camera_colour, drawing, new_figure
from posefuse.plots.timeline import draw_distance_error
from posefuse.report.camera_frame import brightness_for, draw_frame, shortened
from posefuse.report.wording import length_with_unit
from posefuse.study.drive import Drive, Images, images_of
from posefuse.threads import side_by_side

__all__ = ["drive_pictures"]

_WIDTH_IN, _HEIGHT_IN = 12.8, 7.2
# left, bottom, width, height
_COURT_IN = (0.62, 3.2, 5.3, 3.1)
_ERROR_IN = (0.62, 1.05, 5.3, 1.15)
_CAMERAS_IN = (6.2, 0.55, 6.6, 5.85)
_LEGEND_TOP_IN = 2.85
_FRAME_TITLE_IN, _GAP_IN = 0.4, 0.12
_SHOT_SHOWN_S = 0.4
_SOURCES = {
    "corners": "corners drawn from the detectors' response, not those found in these images",
    "images": "the corners that the detector finds in the cameras' images",
}


def drive_pictures(
    drive: Drive, *, workers: int, dots_per_inch: float = 100.0
) -> Iterator[NDArray[np.uint8]]:
    """A picture (h, w, 3) for each moment, 12.8 by 7.2 inches large.

    Images are rendered by so many threads while the pictures are drawn.
    """
    views, moments_s = drive.views, drive.moments_s
    panel_in, _ = _panels(drive)
    wide_px = math.ceil(100.0 * panel_in)
    with side_by_side(workers) as pool:
        sample = images_of(
            views, moments_s[:: max(1, len(moments_s) // 3)], pool, least_wide_px=wide_px
        )
        brightness = brightness_for([frame for row in sample for frame in row if frame])
        with drawing():
            sheet = _Sheet(drive, brightness=brightness, dots_per_inch=dots_per_inch)
            moments = images_of(views, moments_s, pool, least_wide_px=wide_px)
            for place, images in enumerate(moments):
                yield sheet.picture(place, images)


def _panels(drive: Drive) -> tuple[float, list[tuple[float, float, float, float]]]:
    """How wide an image is and where each lies (left, bottom, width, height): as large as fits."""
    sensors = [mount.camera.sensor for mount in drive.trial.rig.mounts]
    tall = max(sensor.height_px / sensor.width_px for sensor in sensors)
    left, bottom, width, height = _CAMERAS_IN

    def panel_in(columns: int) -> float:
        rows = -(-len(sensors) // columns)
        return min(width / columns - _GAP_IN, (height / rows - _FRAME_TITLE_IN) / tall)

    columns = max(range(1, len(sensors) + 1), key=panel_in)
    wide = panel_in(columns)
    places = []
    for place, sensor in enumerate(sensors):
        row, column = divmod(place, columns)
        own = wide * sensor.height_px / sensor.width_px
        top = bottom + height - row * (wide * tall + _FRAME_TITLE_IN) - _FRAME_TITLE_IN
        places.append((left + column * (wide + _GAP_IN), top - own, wide, own))
    return wide, places


class _Sheet:
    """The page of the movie, and what moves on it."""

    def __init__(self, drive: Drive, *, brightness: float, dots_per_inch: float) -> None:
        self._drive, self._brightness = drive, brightness
        trial, rows = drive.trial, drive.rows()
        self._rows = rows
        self._factor = exaggeration_of(
            trial.estimate.covs[rows][:, :2, :2],
            trial.estimate.poses[rows, :2] - trial.course.true_poses[rows, :2],
            wanted_m=0.8 * court_margin_m(trial.arena),
        )
        self._panel_in, places = _panels(drive)
        self._figure = new_figure(_WIDTH_IN, _HEIGHT_IN)
        self._figure.set_layout_engine("none")
        self._court = _axes_at(self._figure, _COURT_IN)
        self._court.set_anchor("N")
        draw_court(self._court, trial.arena, length_unit="m")
        self._error = _axes_at(self._figure, _ERROR_IN)
        self._draw_error()
        self._cameras = [_axes_at(self._figure, place) for place in places]
        for index, ax in enumerate(self._cameras):
            ax.set_xticks([])
            ax.set_yticks([])
            ax.spines[:].set(visible=True, color=camera_colour(index), linewidth=4.0)
        self._write()
        self._moving = MovingFigure(self._figure, dots_per_inch=dots_per_inch)

    def picture(self, place: int, images: Images) -> NDArray[np.uint8]:
        """The page at the moment of that place."""
        return self._moving.moment(lambda: self._draw(place, images))

    def _write(self) -> None:
        """What stands on every page: title, legend, and where things come from."""
        self._figure.text(
            0.01,
            0.985,
            shortened(self._drive.trial.title, 130),
            va="top",
            fontsize=11.0,
            fontweight="bold",
        )
        still = self._court.get_children()
        self._draw_drive(0)
        handles, labels = self._court.get_legend_handles_labels()
        for artist in self._court.get_children():
            if artist not in still:
                artist.remove()
        left, top = _COURT_IN[0] / _WIDTH_IN, _LEGEND_TOP_IN / _HEIGHT_IN
        self._figure.legend(
            handles,
            labels,
            loc="upper left",
            bbox_to_anchor=(left, top),
            borderaxespad=0.0,
            ncols=2,
        )
        source = _SOURCES[self._drive.sightings.value]
        bright = f"; shown {self._brightness:g} times as bright" if self._brightness > 1.0 else ""
        self._figure.text(
            0.01,
            0.012,
            f"The filter is given {source}.\nRight: the cameras' newest images, framed "
            "in the colour of their view on the court, rendered, with the tags that OpenCV's "
            f"detector finds (orange; missed: blue, dashed){bright}.",
            va="bottom",
            fontsize=8.0,
        )

    def _draw_error(self) -> None:
        """The distance error over all moments."""
        trial, rows = self._drive.trial, self._rows
        span = np.arange(rows[0], max(rows[-1], rows[0] + 1) + 1)
        stamps, errors_m = trial.estimate.stamps_s, trial.course.distance_error_m
        shots = trial.marks.rows if trial.has_shots else np.zeros(0, dtype=np.int64)
        shots = shots[(shots >= span[0]) & (shots <= span[-1])]
        draw_distance_error(
            self._error,
            t_s=stamps[span],
            error_m=errors_m[span],
            std_m=trial.distance_std_m[span],
            shots_t_s=stamps[shots],
            shot_errors_m=errors_m[shots],
        )
        last_s = max(float(stamps[span[-1]]), float(self._drive.moments_s[-1]))
        self._error.set_xlim(stamps[span[0]], last_s)
        self._error.set_xlabel("time (s)")
        self._error.legend(loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=3, borderaxespad=0.1)

    def _draw(self, place: int, images: Images) -> None:
        self._figure.text(
            0.01, 0.943, self._status(place), va="top", fontsize=10.0, family="monospace"
        )
        self._draw_drive(place)
        self._error.axvline(self._drive.moments_s[place], color=INK, linewidth=1.0, zorder=6)
        for ax, mount, frame in zip(
            self._cameras, self._drive.trial.rig.mounts, images, strict=True
        ):
            draw_frame(
                ax,
                frame,
                name=mount.name,
                panel_width_in=self._panel_in,
                brightness=self._brightness,
            )

    def _draw_drive(self, place: int) -> None:
        """The robot, its path so far and the estimate with its ellipse."""
        trial, row = self._drive.trial, int(self._rows[place])
        past = np.append(np.arange(self._rows[0], row, 3), row)
        true = trial.course.true_poses
        draw_path(self._court, true[past, :2], label="true path so far", colour="#555555")
        draw_robot(
            self._court,
            trial.rig,
            PlanePose(true[row]),
            arena=trial.arena,
            reach_m=6.0 * court_margin_m(trial.arena),
        )
        draw_shots(
            self._court,
            true_xy_m=true[row : row + 1, :2],
            estimated_xy_m=trial.estimate.poses[row : row + 1, :2],
            covs_m2=trial.estimate.covs[row : row + 1, :2, :2],
            exaggeration=self._factor,
            label="true place",
        )

    def _status(self, place: int) -> str:
        """The time, how far the distance is off and how far off the filter expects it to be."""
        trial = self._drive.trial
        row, at_s = int(self._rows[place]), float(self._drive.moments_s[place])
        off = length_with_unit(abs(float(trial.course.distance_error_m[row])), "cm")
        std = length_with_unit(float(trial.distance_std_m[row]), "cm")
        shots = trial.recording.shots
        shot = shots is not None and any(0.0 <= at_s - s < _SHOT_SHOWN_S for s in shots.stamps_s)
        goal = shortened(trial.course.goals[row], 24)
        return f"{at_s:6.2f} s   distance to {goal}: off by {off:>8}, filter's sigma {std:>8}" + (
            "   SHOT" if shot else ""
        )


def _axes_at(figure: Figure, place_in: tuple[float, float, float, float]) -> Axes:
    left, bottom, width, height = place_in
    return figure.add_axes(
        (left / _WIDTH_IN, bottom / _HEIGHT_IN, width / _WIDTH_IN, height / _HEIGHT_IN)
    )
