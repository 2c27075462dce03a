"""How a tag detector responds, measured on rendered tags: how often it finds them, how far off."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from posefuse.calibration.conditions import Conditions
from posefuse.calibration.corner_errors import CornerErrors, corner_errors
from posefuse.calibration.detector_shots import DrawnTag, TagShot, TagShots, known_family
from posefuse.checks import FloatArray
from posefuse.errors import InputError
from posefuse.rendering.detect import DetectorSettings, detect_tags
from posefuse.rendering.tag_pictures import MARGIN_CELLS, tag_cells
from posefuse.robot.camera import Imaging
from posefuse.robot.measured_response import AXIS_COLUMNS
from posefuse.statistics.wilson import wilson_interval
from posefuse.threads import side_by_side

__all__ = ["ResponseRecipe", "measure_response"]

_MOST_ERROR_EDGES = 0.5  # corners further off than this share of the edge are of something else
_LEAST_FOUND = 10
_LEAST_CHANGES = 3
_DIGITS = 5


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
    # noise and defocus change fastest: what differs in them alone is drawn once
    count = len(recipe.noise_factors) * len(recipe.defocus_factors)
    together = [everything[k : k + count] for k in range(0, len(everything), count)]
    rows: list[dict[str, float]] = []
    with side_by_side(workers) as pool:
        tasks = [pool.submit(_measure, shots, recipe, some) for some in together]
        for task in tasks:
            rows += task.result()
            if progress is not None:
                progress(len(rows), len(everything))
    return _table(everything, rows, recipe)


def _measure(
    shots: TagShots, recipe: ResponseRecipe, together: Sequence[Conditions]
) -> list[dict[str, float]]:
    """A row for each of some conditions that differ in noise and defocus alone."""
    tallies = [_Tally() for _ in together]
    for number in range(recipe.tags):
        drawn = shots.drawn(number, together[0])
        for conditions, tally in zip(together, tallies, strict=True):
            tally.look_at(shots, drawn, recipe, conditions)
    return [tally.row(recipe.tags) for tally in tallies]


@dataclass(slots=True)
class _Tally:
    """What was found under one set of conditions."""

    found: list[FloatArray] = field(default_factory=list)
    true: list[FloatArray] = field(default_factory=list)
    ways: list[FloatArray] = field(default_factory=list)
    changes: list[FloatArray] = field(default_factory=list)
    misread: int = 0
    unfitted: int = 0

    def look_at(
        self, shots: TagShots, drawn: DrawnTag, recipe: ResponseRecipe, conditions: Conditions
    ) -> None:
        """Adds one tag, seen once or twice."""
        seen, others, left_out = _corners_found(shots.taken(drawn, conditions), recipe, conditions)
        self.misread += others
        self.unfitted += left_out
        if seen is None:
            return
        self.found.append(seen)
        self.true.append(drawn.corners_px)
        self.ways.append(drawn.blur_way)
        if drawn.number < recipe.second_looks:
            second = shots.taken(drawn, conditions, look=1)
            again, *_ = _corners_found(second, recipe, conditions)
            self.changes += [] if again is None else [again - seen]

    def row(self, tags: int) -> dict[str, float]:
        """Counts and, where enough were found, their errors."""
        count = len(self.found)
        interval = wilson_interval(count, tags)
        row = {
            "rendered": tags,
            "found": count,
            "misread": self.misread,
            "unfitted": self.unfitted,
            "found_probability": count / tags,
            "found_low": interval.low,
            "found_high": interval.high,
        }
        if count >= _LEAST_FOUND:
            errors = corner_errors(np.array(self.found), np.array(self.true), np.array(self.ways))
            row |= {name: getattr(errors, name) for name in CornerErrors.__dataclass_fields__}
            if len(self.changes) >= _LEAST_CHANGES:
                # two looks differ by the noise of both
                passing = float((np.array(self.changes) ** 2).mean()) / 2.0
                share = 1.0 - passing / errors.std_px**2
                row["persistent_fraction"] = float(np.clip(share, 0.0, 1.0))
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
