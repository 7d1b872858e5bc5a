"""The axis and the ends of an implant body that is given as a mesh.

The sides of the body are taken for a cylinder: the axis and the radius are those from
which the sides lie least far off, as a robust least-squares problem of the radial
distances (Lukács, Martin & Marshall 1998 pose it so for cylinders), started from each
principal direction of the surface. Threads and taper stay over as the residual; the
flat ends and the inside of a socket take no part, told by which way their faces look.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_FACES: Final = 1500
"""More are thinned out evenly for the fit; the ends are those of all of them."""

LEAST_OUTWARD: Final = 0.2
"""Cosine between a face's normal and straight outward, from which it is a side face."""

LEAST_SIDE_SHARE: Final = 0.4
"""Share of the surface that must look outward for there to be an axis at all."""

NEAR: Final = 1.5
"""Nothing farther than this many radii from the axis counts: a stray speck is no end."""

ROUNDS: Final = 5


class NoSurface(ValueError):
    """The mesh has no surface that an axis could be fitted to."""


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A cylinder fitted to the sides of a body.

    Attributes:
        ends: (2, 3) mm, where the axis leaves the body; which is which is not known.
        radius_mm: mean radius of the sides.
        residual_mm: root mean square of the radial distances left over, by area.
    """

    ends: Floats
    radius_mm: float
    residual_mm: float

    @property
    def axis(self) -> Floats:
        """Unit axis, (3,), from the first end to the second."""
        along: Floats = self.ends[1] - self.ends[0]
        unit: Floats = along / np.linalg.norm(along)
        return unit

    @property
    def length_mm(self) -> float:
        """Distance of the ends."""
        return float(np.linalg.norm(self.ends[1] - self.ends[0]))

    @property
    def misfit(self) -> float:
        """Residual over radius: about a quarter for a ball, which is no cylinder."""
        return self.residual_mm / self.radius_mm

    @property
    def elongation(self) -> float:
        """Length over diameter."""
        return self.length_mm / (2 * self.radius_mm)


@dataclass(frozen=True, slots=True)
class _Surface:
    triangles: Floats
    normals: Floats
    areas: Floats


@dataclass(frozen=True, slots=True)
class _Line:
    """A point, a unit axis, and two unit directions square to it."""

    point: Floats
    axis: Floats
    across: Floats

    def radial(self, points: Floats) -> Floats:
        """Return where points lie across the axis, (.., 2)."""
        flat: Floats = (points - self.point) @ self.across.T
        return flat


def fit_cylinder(triangles: Floats) -> Cylinder:
    """Fit a cylinder to the sides of a body.

    Args:
        triangles: (n, 3, 3) mm, the corners of its faces; outward may be either way
            round, but the same way for most of them.

    Returns:
        The best cylinder, however bad; its misfit and elongation say how bad.

    Raises:
        NoSurface: fewer than four faces, no area, a corner that is no number, or
            nothing that looks outward.
    """
    triangles = np.asarray(triangles, np.float64)
    surface = _surface(triangles)
    corners = surface.triangles.reshape(-1, 3)
    centre = np.average(corners, axis=0, weights=np.repeat(surface.areas, 3))
    spread = (corners - centre).T @ (
        (corners - centre) * np.repeat(surface.areas, 3)[:, None]
    )
    found = [
        fit
        for axis in np.linalg.eigh(spread)[1].T
        if (fit := _fit(surface, _line(centre, axis))) is not None
    ]
    if not found:
        raise NoSurface("no part of the surface looks outward from an axis")
    # not by misfit: on a radius without end anything fits
    line, radius, residual = min(found, key=lambda fit: fit[2])
    ends = _ends(triangles.reshape(-1, 3), line, radius)
    return Cylinder(ends, float(radius), float(residual))


def _surface(triangles: Floats) -> _Surface:
    if triangles.ndim != 3 or triangles.shape[1:] != (3, 3):
        raise NoSurface("triangles are (n, 3, 3)")
    if not np.isfinite(triangles).all():
        raise NoSurface("a corner is no number")
    thinned = triangles[:: -(-len(triangles) // MOST_FACES) or 1]
    normals = np.cross(thinned[:, 1] - thinned[:, 0], thinned[:, 2] - thinned[:, 0])
    doubled = np.linalg.norm(normals, axis=1)
    is_face = doubled > 0
    if is_face.sum() < 4:
        raise NoSurface("fewer than four faces with an area")
    unit = normals[is_face] / doubled[is_face, None]
    return _Surface(thinned[is_face], unit, doubled[is_face] / 2)


def _line(point: Floats, axis: Floats) -> _Line:
    axis = axis / np.linalg.norm(axis)
    helper = np.eye(3)[np.argmin(np.abs(axis))]
    first = np.cross(axis, helper)
    first /= np.linalg.norm(first)
    return _Line(point, axis, np.stack([first, np.cross(axis, first)]))


def _fit(surface: _Surface, line: _Line) -> tuple[_Line, float, float] | None:
    """Return axis, radius and residual; None where too little looks outward."""
    radius, residual = np.inf, 0.0
    for _ in range(ROUNDS):
        is_side = _side_faces(surface, line, NEAR * radius)
        weights = surface.areas[is_side]
        share = weights.sum() / surface.areas.sum()
        if share < LEAST_SIDE_SHARE or is_side.sum() < 3:
            return None
        corners = surface.triangles[is_side]
        # the middles of the edges integrate a quadratic over a face exactly
        points = ((corners + np.roll(corners, 1, axis=1)) / 2).reshape(-1, 3)
        line, radius, residual = _least_squares(points, np.repeat(weights, 3), line)
    return (line, radius, residual) if radius > 0 else None


def _side_faces(surface: _Surface, line: _Line, farthest_mm: float) -> Flags:
    """Return the faces that look away from the axis and are no farther from it."""
    radial = line.radial(surface.triangles.mean(axis=1))
    distance = np.linalg.norm(radial, axis=1, keepdims=True)
    across = surface.normals @ line.across.T
    outward = np.sum(across * radial / np.where(distance > 0, distance, np.inf), axis=1)
    # some programs write every face the other way round
    sign = np.sign(np.sum(outward * surface.areas)) or 1.0
    is_near = distance[:, 0] <= farthest_mm
    side: Flags = is_near & (sign * outward > LEAST_OUTWARD)
    return side


def _least_squares(
    points: Floats, weights: Floats, start: _Line
) -> tuple[_Line, float, float]:
    """Move the axis so that the points lie least far off one radius."""
    from scipy.optimize import least_squares

    roots = np.sqrt(weights / weights.sum())
    middle = start.point + start.axis * np.average(
        (points - start.point) @ start.axis, weights=weights
    )
    distance = np.linalg.norm(start.radial(points), axis=1)
    first_radius = float(np.average(distance, weights=weights))

    def moved(values: Floats) -> _Line:
        lean, shift = values[:2] @ start.across, values[2:4] @ start.across
        return _line(middle + shift, start.axis + lean)

    def off(values: Floats) -> Floats:
        radial = np.linalg.norm(moved(values).radial(points), axis=1)
        left: Floats = roots * (radial - values[4])
        return left

    fitted = least_squares(
        off, [0, 0, 0, 0, first_radius], loss="soft_l1", f_scale=0.1 * first_radius
    )
    left = off(fitted.x)
    return moved(fitted.x), float(fitted.x[4]), float(np.sqrt(np.sum(left**2)))


def _ends(corners: Floats, line: _Line, radius: float) -> Floats:
    is_near = np.linalg.norm(line.radial(corners), axis=1) <= NEAR * radius
    along = (corners[is_near] - line.point) @ line.axis
    ends: Floats = line.point + np.array([[along.min()], [along.max()]]) * line.axis
    return ends
