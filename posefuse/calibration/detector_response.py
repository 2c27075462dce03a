"""How a tag detector responds, measured on rendered tags: how often it finds them, how far off."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posefuse.calibration.detector_shots import Conditions, TagShot, TagShots, known_family
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.rendering.tag_pictures import MARGIN_CELLS, tag_cells
from posefuse.robot.camera import Imaging
from posefuse.robot.measured_response import AXIS_COLUMNS
from posefuse.statistics.wilson import wilson_interval
from posefuse.threads import side_by_side

__all__ = ["CornerErrors", "ResponseRecipe", "corner_errors", "measure_response"]

_MOST_ERROR_EDGES = 0.5  # corners further off than this share of the edge are of something else
_LEAST_FOUND = 10
_LEAST_CHANGES = 3
_DIGITS = 5
_SIDES = np.array([-1.0, 1.0, 1.0, -1.0])  # left or right, of each corner


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponseRecipe:
    """What is measured: each combination of the axes' values, with a number of tags.

    Parameters
    ----------
    noise_factors, defocus_factors
        Times the camera's own noise and defocus.
    second_looks
        How many of the tags are looked at twice, to measure what share of an error persists.
    """

    edges_px: tuple[float, ...] = (10, 12, 14, 16, 18, 21, 25, 30.5, 32, 36, 45, 60, 90)
    incidences_deg: tuple[float, ...] = (0, 20, 40, 55, 68)
    blurs_px: tuple[float, ...] = (0, 1.5, 3, 4, 5, 6, 8, 10, 13, 17)
    noise_factors: tuple[float, ...] = (0.5, 1.0, 2.0)
    defocus_factors: tuple[float, ...] = (0.5, 1.0, 2.0)
    tags: int = 100
    second_looks: int = 10
    family: str = "36h11"
    seed: int = 1
    settings: DetectorSettings = field(default_factory=DetectorSettings)

    def __post_init__(self) -> None:
        for count, least_count in (("tags", 1), ("second_looks", _LEAST_CHANGES)):
            if getattr(self, count) < least_count:
                raise InputError(
                    f"{count}: must be {least_count} or more (got {getattr(self, count)})"
                )
        cells = len(tag_cells(known_family(self.family), 0)) - 2 * MARGIN_CELLS
        for name, least in (
            ("edges_px", float(cells)),
            ("incidences_deg", 0.0),
            ("blurs_px", 0.0),
            ("noise_factors", 1e-3),
            ("defocus_factors", 0.0),
        ):
            values = getattr(self, name)
            if not values or list(values) != sorted(set(values)):
                raise InputError(f"{name}: must rise (got {values})")
            if values[0] < least:
                why = ", a pixel for each cell of the tag" if name == "edges_px" else ""
                raise InputError(f"{name}: must be {least:g} or more{why} (got {values[0]:g})")
        if self.incidences_deg[-1] > 85.0:
            raise InputError(
                f"incidences_deg: must be 85 or less (got {self.incidences_deg[-1]:g})"
            )

    def coarser(self) -> "ResponseRecipe":
        """Some sizes, angles and blurs, at the camera's own noise and defocus."""
        return replace(
            self,
            edges_px=self.edges_px[::2],
            incidences_deg=self.incidences_deg[::2],
            blurs_px=self.blurs_px[::3],
            noise_factors=(1.0,),
            defocus_factors=(1.0,),
        )

    def conditions(self, camera: Imaging) -> list[Conditions]:
        """Every combination for a camera; defocus and noise change fastest."""
        noise, defocus = camera.image.noise_grey, camera.image.defocus_px
        axes = (
            self.edges_px,
            self.incidences_deg,
            self.blurs_px,
            [round(factor * noise, _DIGITS) for factor in self.noise_factors],
            [round(factor * defocus, _DIGITS) for factor in self.defocus_factors],
        )
        return [
            Conditions(**dict(zip(AXIS_COLUMNS, values, strict=True)))
            for values in itertools.product(*axes)
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerErrors:
    """Bias and spread of the corners that were found; see ``robot.Detector``.

    The error of a corner is taken as ``inward_px`` toward the tag's middle, ``narrowing_px`` toward
    the side across, the shift, and a spread that is the same in both axes, with a share of its
    variance common to the four corners.

    Parameters
    ----------
    bias_rest_px
        RMS of the four corners' mean errors that these leave.
    std_along_px, std_across_px
        The spread along the motion blur (along x where there is none), and across it.
    correlation_beside, correlation_opposite
        Between the errors of corners next to, and opposite to each other, each about its mean.
    """

    inward_px: float
    narrowing_px: float
    shift_x_px: float
    shift_y_px: float
    std_px: float
    shared_fraction: float
    bias_rest_px: float
    std_along_px: float
    std_across_px: float
    correlation_beside: float
    correlation_opposite: float


def corner_errors(found_px: FloatArray, true_px: FloatArray, blur_ways: FloatArray) -> CornerErrors:
    """Bias and spread of corners found (n, 4, 2), n at least 2, against the true corners.

    Parameters
    ----------
    blur_ways : (n, 2) array
        Direction of the motion blur of each.
    """
    errors = found_px - true_px
    inward = true_px.mean(axis=1, keepdims=True) - true_px
    inward /= np.linalg.norm(inward, axis=-1, keepdims=True)
    wide = np.einsum("k,nkc->nc", _SIDES, true_px)
    wide /= np.linalg.norm(wide, axis=-1, keepdims=True)
    closer = -_SIDES[:, None] * wide[:, None]
    right, down = (np.broadcast_to(way, errors.shape) for way in np.eye(2))
    design = np.stack([inward, closer, right, down], axis=-1)
    bias, *_ = np.linalg.lstsq(design.reshape(-1, 4), errors.ravel(), rcond=None)
    rest = errors - design @ bias
    variance = float((rest**2).mean())
    shared = float(rest.mean(axis=1).var(axis=0).mean())
    along = np.einsum("nkc,nc->nk", rest, blur_ways)
    across = rest[..., 0] * blur_ways[:, None, 1] - rest[..., 1] * blur_ways[:, None, 0]
    return CornerErrors(
        inward_px=float(bias[0]),
        narrowing_px=float(bias[1]),
        shift_x_px=float(bias[2]),
        shift_y_px=float(bias[3]),
        std_px=variance**0.5,
        # the mean of four keeps s + (1 - s) / 4 of the variance
        shared_fraction=float(np.clip((4.0 * shared / variance - 1.0) / 3.0, 0.0, 0.99)),
        bias_rest_px=float(np.sqrt((rest.mean(axis=0) ** 2).mean())),
        std_along_px=float(np.sqrt((along**2).mean())),
        std_across_px=float(np.sqrt((across**2).mean())),
        correlation_beside=_correlation(rest, 1),
        correlation_opposite=_correlation(rest, 2),
    )


def _correlation(errors: FloatArray, step: int) -> float:
    """Mean correlation between corners so many steps apart, over both axes."""
    centred = errors - errors.mean(axis=0)
    scale = np.sqrt((centred**2).mean(axis=0))
    scaled = centred / np.where(scale > 0.0, scale, 1.0)
    return float((scaled * np.roll(scaled, -step, axis=1)).mean())


def measure_response(
    camera: Imaging,
    recipe: ResponseRecipe,
    *,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> dict[str, FloatArray]:
    """The response as a table: one column for each name of ``robot.measured_response``.

    Where fewer than 10 tags are found, their spread and bias are taken from the next larger tag
    with enough of them, else from less blur: see the column ``found``.

    Parameters
    ----------
    progress
        Called with how many combinations are done, and of how many.

    Raises
    ------
    InputError
        OpenCV lacks the family, or a tag does not fit into the image.
    """
    shots = TagShots(camera, family=recipe.family, seed=recipe.seed)
    everything = recipe.conditions(camera)
    for conditions in everything:
        if (conditions.edge_px, conditions.blur_px) == (recipe.edges_px[-1], recipe.blurs_px[-1]):
            shots.shot(0, conditions)  # what does not fit is refused before anything is measured
    rows: list[dict[str, float]] = []
    with side_by_side(workers) as pool:
        tasks = [pool.submit(_measure, shots, recipe, conditions) for conditions in everything]
        for done, task in enumerate(tasks, start=1):
            rows.append(task.result())
            if progress is not None:
                progress(done, len(tasks))
    return _table(everything, rows, recipe)


def _measure(shots: TagShots, recipe: ResponseRecipe, conditions: Conditions) -> dict[str, float]:
    found, true, ways, misread, unfitted = [], [], [], 0, 0
    changes: list[FloatArray] = []
    for number in range(recipe.tags):
        shot = shots.shot(number, conditions)
        seen, others, left_out = _corners_found(shot, recipe, conditions)
        misread += others
        unfitted += left_out
        if seen is None:
            continue
        found.append(seen)
        true.append(shot.corners_px)
        ways.append(shot.blur_way)
        if number < recipe.second_looks:
            again, *_ = _corners_found(shots.shot(number, conditions, look=1), recipe, conditions)
            changes += [] if again is None else [again - seen]
    interval = wilson_interval(len(found), recipe.tags)
    row = {
        "rendered": recipe.tags,
        "found": len(found),
        "misread": misread,
        "unfitted": unfitted,
        "found_probability": len(found) / recipe.tags,
        "found_low": interval.low,
        "found_high": interval.high,
    }
    if len(found) >= _LEAST_FOUND:
        errors = corner_errors(np.array(found), np.array(true), np.array(ways))
        row |= {name: getattr(errors, name) for name in CornerErrors.__dataclass_fields__}
        if len(changes) >= _LEAST_CHANGES:
            # two looks differ by the noise of both
            passing = float((np.array(changes) ** 2).mean()) / 2.0
            row["persistent_fraction"] = float(np.clip(1.0 - passing / errors.std_px**2, 0.0, 1.0))
    return row


def _corners_found(
    shot: TagShot, recipe: ResponseRecipe, conditions: Conditions
) -> tuple[FloatArray | None, int, int]:
    """The tag's corners (4, 2) if it is found, how many others are found, and how many left out.

    A tag that is found far off counts as another.
    """
    seen = detect_tags(shot.image, families=[recipe.family], settings=recipe.settings)
    corners_px, misread = None, 0
    for id, corners in zip(seen.ids.tolist(), seen.corners_px, strict=True):
        error = np.sqrt(((corners - shot.corners_px) ** 2).mean())
        if id != shot.id or error > _MOST_ERROR_EDGES * conditions.edge_px:
            misread += 1
        else:
            corners_px = corners
    return corners_px, misread, len(seen.unfitted)


def _table(
    everything: Sequence[Conditions], rows: Sequence[dict[str, float]], recipe: ResponseRecipe
) -> dict[str, FloatArray]:
    shape = (
        len(recipe.edges_px),
        len(recipe.incidences_deg),
        len(recipe.blurs_px),
        len(recipe.noise_factors) * len(recipe.defocus_factors),
    )
    names = [*CornerErrors.__dataclass_fields__, "persistent_fraction"]
    values = np.array([[row.get(name, np.nan) for name in names] for row in rows])
    grid = values.reshape(*shape, len(names))
    for edge in range(shape[0] - 2, -1, -1):
        gap = np.isnan(grid[edge])
        grid[edge][gap] = grid[edge + 1][gap]
    for blur in range(1, shape[2]):
        gap = np.isnan(grid[:, :, blur])
        grid[:, :, blur][gap] = grid[:, :, blur - 1][gap]
    if np.isnan(grid).any():
        raise InputError("too few tags are found even where they are largest and sharpest")
    columns = {
        name: np.array([getattr(conditions, name) for conditions in everything])
        for name in AXIS_COLUMNS
    }
    for name in ("rendered", "found", "misread", "unfitted"):
        columns[name] = np.array([int(row[name]) for row in rows])
    for name in ("found_probability", "found_low", "found_high"):
        columns[name] = np.round([row[name] for row in rows], _DIGITS)
    flat = grid.reshape(len(rows), len(names))
    columns |= {name: np.round(flat[:, place], _DIGITS) for place, name in enumerate(names)}
    return columns
