"""The start pose that ``recording.toml`` states."""

import math

import numpy as np

from posefuse.checks import FloatArray
from posefuse.files.toml_file import Faults
from posefuse.geometry.plane import PlanePose
from posefuse.recording.recording import StartPose
from posefuse.recording.schema import StartTable

__all__ = ["stated_start"]


def stated_start(table: StartTable, faults: Faults) -> StartPose | None:
    """The start pose; ``None`` once a fault is noted."""
    heading_rad = table.heading_rad
    if (table.heading_deg is None) == (heading_rad is None):
        faults.add("give one of heading_deg and heading_rad", "start")
    if table.heading_deg is not None:
        heading_rad = math.radians(table.heading_deg)
    cov = _start_cov(table, faults)
    if cov is None or heading_rad is None:
        return None
    return StartPose(world_from_robot=PlanePose([table.x_m, table.y_m, heading_rad]), cov=cov)


def _start_cov(table: StartTable, faults: Faults) -> FloatArray | None:
    position, heading_deg = table.position_std_m, table.heading_std_deg
    if table.covariance is None and position is not None and heading_deg is not None:
        return np.diag([position**2, position**2, math.radians(heading_deg) ** 2])
    if table.covariance is None or position is not None or heading_deg is not None:
        faults.add("give either position_std_m and heading_std_deg, or covariance", "start")
        return None
    cov = np.array(table.covariance)
    if not np.array_equal(cov, cov.T) or np.linalg.eigvalsh(cov)[0] < -1e-12 * cov.max():
        faults.add("must be symmetric with no negative variance", "start", "covariance")
    return cov
