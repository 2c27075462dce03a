"""Compiled: which tags a camera sees, how large, how grazing, and how fast they cross the image.

``frames``, ``cameras``, ``tags``, ``world_boxes``, ``robot_boxes`` and ``margin`` are the named
tuples of ``sensing.arrays``; ``pose`` is ``world_from_camera`` of one frame: a rotation (3, 3) and
a place (3,). Whole arrays and a row number go to the inner functions: a slice costs more than their
arithmetic.
"""

import numpy as np

from posefuse.compiling import inlined_kernel, kernel
from posefuse.sensing.compiled.projection import project_point, project_with_slopes

__all__ = [
    "describe_views",
    "inside_image",
    "mark_views",
    "place_camera",
    "project_corners",
    "turn_back",
]

NEAREST_M = 0.01  # a corner closer to the camera's plane than this is not seen
STOP_BEFORE_M = 0.01  # lines of sight end here before the tag: its own post does not hide it
FLAT = 1e-12  # a line that moves less than this across a slab runs along it


@inlined_kernel
def turn_back(dx, dy, dz, turn):
    """(x, y, z) along the axes of a frame turned by turn (3, 3) of a vector given in its parent."""
    x = turn[0, 0] * dx + turn[1, 0] * dy + turn[2, 0] * dz
    y = turn[0, 1] * dx + turn[1, 1] * dy + turn[2, 1] * dz
    z = turn[0, 2] * dx + turn[1, 2] * dy + turn[2, 2] * dz
    return x, y, z


@inlined_kernel
def place_camera(frames, f, mounted, k, pose):
    """Write the pose of frame f's camera, mounted as row k of ``mounted`` says.

    mounted: ``robot_from_camera``, as ``CameraArrays`` and ``BuiltArrays`` have it.
    """
    turn, place = pose
    rotation, translation = frames.rotation, frames.translation_m
    mount_rotation, mount_translation = mounted.rotation, mounted.translation_m
    mx, my, mz = mount_translation[k, 0], mount_translation[k, 1], mount_translation[k, 2]
    for i in range(3):
        a, b, c = rotation[f, i, 0], rotation[f, i, 1], rotation[f, i, 2]
        place[i] = translation[f, i] + a * mx + b * my + c * mz
        for j in range(3):
            turn[i, j] = (
                a * mount_rotation[k, 0, j]
                + b * mount_rotation[k, 1, j]
                + c * mount_rotation[k, 2, j]
            )


@inlined_kernel
def project_corners(corners, n, pose, lens_rows, c, radius_limit, pixels, s):
    """Whether tag n's corners lie in front of camera c and within the lens' reach.

    Writes pixels[s] (4, 2) in any case; corners (N, 4, 3) in the world; lens_rows (C, 12),
    radius_limit (C,).
    """
    turn, place = pose
    px, py, pz = place[0], place[1], place[2]
    lens, limit = lens_rows[c], radius_limit[c]
    is_within = True
    for k in range(4):
        x, y, z = turn_back(
            corners[n, k, 0] - px, corners[n, k, 1] - py, corners[n, k, 2] - pz, turn
        )
        is_within = is_within and not (z < NEAREST_M or x * x + y * y > (limit * z) ** 2)
        pixels[s, k, 0], pixels[s, k, 1] = project_point(x, y, z, lens)
    return is_within


@inlined_kernel
def inside_image(pixels, s, size, c, margin):
    """Whether pixels[s] (4, 2) lie in the image of camera c, size (C, 2), widened by the margin."""
    right, bottom = size[c, 0] - 0.5 + margin, size[c, 1] - 0.5 + margin
    for k in range(4):
        if not (-0.5 - margin <= pixels[s, k, 0] <= right):
            return False
        if not (-0.5 - margin <= pixels[s, k, 1] <= bottom):
            return False
    return True


@kernel
def _edge_px(pixels, s):
    """Root of the area of the quadrilateral pixels[s] (4, 2)."""
    du, dv = pixels[s, 2, 0] - pixels[s, 0, 0], pixels[s, 2, 1] - pixels[s, 0, 1]
    eu, ev = pixels[s, 3, 0] - pixels[s, 1, 0], pixels[s, 3, 1] - pixels[s, 1, 1]
    return np.sqrt(0.5 * abs(du * ev - eu * dv))


@kernel
def _distance_and_cosine(tags, n, place):
    """(distance, cosine of the incidence) of tag n as seen from the place (3,)."""
    dx = place[0] - tags.centres_m[n, 0]
    dy = place[1] - tags.centres_m[n, 1]
    dz = place[2] - tags.centres_m[n, 2]
    distance = np.sqrt(dx * dx + dy * dy + dz * dz)
    along = dx * tags.normals[n, 0] + dy * tags.normals[n, 1] + dz * tags.normals[n, 2]
    return distance, along / distance


@kernel
def _clip(start, step, half, low, high):
    """(low, high) of a line's parameter narrowed to the slab -half .. half; empty: low > high."""
    if abs(step) < FLAT:
        return (low, high) if abs(start) < half else (1.0, 0.0)
    first, second = (-half - start) / step, (half - start) / step
    return max(low, min(first, second)), min(high, max(first, second))


@kernel
def _is_hidden(sx, sy, sz, ex, ey, ez, boxes, f):
    """Whether any box of frame f cuts the line from (sx, sy, sz) to just before (ex, ey, ez).

    The slab method: T. L. Kay, J. T. Kajiya, Ray tracing complex scenes, SIGGRAPH 1986.
    """
    dx, dy, dz = ex - sx, ey - sy, ez - sz
    furthest = 1.0 - STOP_BEFORE_M / np.sqrt(dx * dx + dy * dy + dz * dz)
    row = f if boxes.centres_m.shape[0] > 1 else 0
    for b in range(boxes.half_sizes_m.shape[0]):
        c, s = boxes.cosines[b], boxes.sines[b]
        x, y = sx - boxes.centres_m[row, b, 0], sy - boxes.centres_m[row, b, 1]
        z = sz - boxes.centres_m[row, b, 2]
        low, high = _clip(z, dz, boxes.half_sizes_m[b, 2], 0.0, furthest)
        low, high = _clip(c * x + s * y, c * dx + s * dy, boxes.half_sizes_m[b, 0], low, high)
        low, high = _clip(c * y - s * x, c * dy - s * dx, boxes.half_sizes_m[b, 1], low, high)
        if low < high:
            return True
    return False


@kernel
def _point_of_tag(tags, n, k):
    """(x, y, z) in the world of corner k of tag n; its centre for k = 4."""
    if k == 4:
        return tags.centres_m[n, 0], tags.centres_m[n, 1], tags.centres_m[n, 2]
    return tags.corners_m[n, k, 0], tags.corners_m[n, k, 1], tags.corners_m[n, k, 2]


@kernel
def _is_tag_hidden(tags, n, place, boxes, f):
    """Whether a box in the world hides the centre or a corner of tag n from the place (3,)."""
    if boxes.half_sizes_m.shape[0] == 0:
        return False
    for k in range(5):
        x, y, z = _point_of_tag(tags, n, k)
        if _is_hidden(place[0], place[1], place[2], x, y, z, boxes, f):
            return True
    return False


@kernel
def _is_tag_behind_robot(tags, n, frames, f, cameras, boxes):
    """Whether the robot's own boxes hide tag n; in the robot frame, where they are upright."""
    if boxes.half_sizes_m.shape[0] == 0:
        return False
    turn, base = frames.rotation[f], frames.translation_m[f]
    mounted = cameras.translation_m
    state = frames.state[f]
    mx, my, mz = mounted[state, 0], mounted[state, 1], mounted[state, 2]
    for k in range(5):
        wx, wy, wz = _point_of_tag(tags, n, k)
        x, y, z = turn_back(wx - base[0], wy - base[1], wz - base[2], turn)
        if _is_hidden(mx, my, mz, x, y, z, boxes, f):
            return True
    return False


@kernel
def mark_views(frames, cameras, tags, world_boxes, robot_boxes, margin, is_seen):
    """Write is_seen (F, N): the tag faces the camera, is in its image, large enough, not hidden."""
    place, pixels = np.empty(3), np.empty((1, 4, 2))
    pose = (np.empty((3, 3)), place)
    lens_rows, limits = cameras.lens_rows, cameras.radius_limit
    for f in range(frames.camera.shape[0]):
        c = frames.camera[f]
        place_camera(frames, f, cameras, frames.state[f], pose)
        for n in range(tags.ids.shape[0]):
            is_seen[f, n] = False
            distance, cosine = _distance_and_cosine(tags, n, place)
            if not cosine >= cameras.least_cos_incidence[c]:
                continue
            if not project_corners(tags.corners_m, n, pose, lens_rows, c, limits, pixels, 0):
                continue
            margin_px = margin.px[f] + margin.px_m[f] / distance
            if not inside_image(pixels, 0, cameras.size_px, c, margin_px):
                continue
            if _edge_px(pixels, 0) < cameras.least_edge_px[c]:
                continue
            if _is_tag_hidden(tags, n, place, world_boxes, f):
                continue
            is_seen[f, n] = not _is_tag_behind_robot(tags, n, frames, f, cameras, robot_boxes)


@kernel
def _image_velocity(tags, n, pose, translation, twist, f, lens):
    """(du/dt, dv/dt) of tag n's centre, seen by the camera on the robot at translation (F, 3).

    twist (F, 6): the robot's turn rates, then the velocity of its origin, in world axes.
    """
    turn, place = pose
    cx, cy, cz = tags.centres_m[n, 0], tags.centres_m[n, 1], tags.centres_m[n, 2]
    dx, dy, dz = cx - translation[f, 0], cy - translation[f, 1], cz - translation[f, 2]
    # a point at rest seen from a body that moves: -(v + w x (point - base)), in world axes
    vx, vy, vz = turn_back(
        twist[f, 2] * dy - twist[f, 1] * dz - twist[f, 3],
        twist[f, 0] * dz - twist[f, 2] * dx - twist[f, 4],
        twist[f, 1] * dx - twist[f, 0] * dy - twist[f, 5],
        turn,
    )
    x, y, z = turn_back(cx - place[0], cy - place[1], cz - place[2], turn)
    _, _, ux, uy, uz, wx, wy, wz = project_with_slopes(x, y, z, lens)
    return ux * vx + uy * vy + uz * vz, wx * vx + wy * vy + wz * vz


@kernel
def describe_views(frame, tag, frames, cameras, tags, figures):
    """Write figures (S, 5) of the sightings of tags (S,) in frames (S,).

    Distance, cosine of the incidence, edge, velocity u and v.
    """
    place, pixels = np.empty(3), np.empty((1, 4, 2))
    pose = (np.empty((3, 3)), place)
    lens_rows, limits = cameras.lens_rows, cameras.radius_limit
    for s in range(frame.shape[0]):
        f, n = frame[s], tag[s]
        c = frames.camera[f]
        place_camera(frames, f, cameras, frames.state[f], pose)
        project_corners(tags.corners_m, n, pose, lens_rows, c, limits, pixels, 0)
        figures[s, 0], figures[s, 1] = _distance_and_cosine(tags, n, place)
        figures[s, 2] = _edge_px(pixels, 0)
        figures[s, 3], figures[s, 4] = _image_velocity(
            tags, n, pose, frames.translation_m, frames.twist, f, lens_rows[c]
        )
