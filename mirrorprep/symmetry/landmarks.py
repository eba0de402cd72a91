"""Planes from landmarks: points on the midline and left-right pairs.

A landmark file is JSON or plain text, in millimetres of the scan. Plain text has one point a line, ``#``
starts a comment, a number after the coordinates is a weight (1 when absent)::

    midline  nasion      1.5   85.1  -34.8
    left     tragion   -80.6  -29.1  -41.3
    right    tragion    84.4  -28.5  -41.3   0.5

A left and a right point of the same name make a pair; the pair's weight is the lower of the two. The same
as JSON, weights optional::

    {"midline": {"nasion": [1.5, 85.1, -34.8]},
     "pairs": {"tragion": {"left": [-80.6, -29.1, -41.3], "right": [84.4, -28.5, -41.3]}},
     "weights": {"tragion": 0.5}}
"""

import json
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from mirrorprep.errors import GeometryError, InputFileError, UsageError
from mirrorprep.solid.finding import Finding, Severity
from mirrorprep.solid.plane import Plane

FloatArray = NDArray[np.float64]
Point = tuple[float, float, float]

ROBUST_STEPS = 20
ROBUST_WIDTH = 2.5 * 1.4826
OUTLIER_WEIGHT = 0.1
CLICK_SD_MM = 1.5
LOOSEST_DEG = 20.0
_REMEDY = "Write lines such as 'midline nasion 1.5 85.1 -34.8' or 'left tragion -80.6 -29.1 -41.3'."


@dataclass(frozen=True, slots=True, kw_only=True)
class Landmarks:
    """Named points on the midline and named left-right pairs, mm.

    Attributes
    ----------
    midline : dict of str to point
        Points that lie on the mirror plane.
    pairs : dict of str to (left point, right point)
        Points that are each other's mirror image.
    weights : dict of str to float
        Inverse variances relative to 1, for any of the names.

    Examples
    --------
    >>> ears = Landmarks(pairs={"tragion": ((-80, 0, 0), (84, 0, 0))})
    >>> landmark_plane(ears).plane.offset_mm
    2.0
    """

    midline: dict[str, Point] = field(default_factory=dict)
    pairs: dict[str, tuple[Point, Point]] = field(default_factory=dict)
    weights: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        points = [*self.midline.values(), *(point for pair in self.pairs.values() for point in pair)]
        if any(len(point) != 3 for point in points) or not np.isfinite(np.array(points, dtype=float)).all():
            raise UsageError("A landmark is not three finite numbers.", remedy=_REMEDY)
        if not all(np.isfinite(weight) and weight >= 0.0 for weight in self.weights.values()):
            raise UsageError("A landmark weight is negative or not finite.", remedy="Give 0 or more.")
        stray = set(self.weights) - set(self.names)
        if stray:
            raise UsageError(f"There is a weight for the unknown landmark '{min(stray)}'.", remedy=_REMEDY)

    @property
    def names(self) -> list[str]:
        """Names in the order midline, pairs."""
        return [*self.midline, *self.pairs]

    def as_dict(self) -> dict[str, object]:
        """Return plain data in the form of the JSON file."""
        pairs = {
            name: {"left": list(left), "right": list(right)} for name, (left, right) in self.pairs.items()
        }
        midline = {name: list(point) for name, point in self.midline.items()}
        return {"midline": midline, "pairs": pairs, "weights": self.weights}


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LandmarkPlane:
    """The most likely mirror plane of a set of landmarks.

    Attributes
    ----------
    plane : Plane
        The plane.
    sd_deg, sd_mm : float
        Standard deviation of its direction and of its place amid the landmarks; infinite when the
        landmarks are too few to tell.
    middle_mm : (3,) float64
        Weighted middle of the landmarks.
    noise_mm : float
        Standard deviation of the points, estimated from how badly they fit; nan when too few.
    misfit_mm : dict of str to float
        Distance by which each landmark misses the plane (a pair: half the distance between the right
        point and the image of the left, times √2).
    weight : dict of str to float
        Robust weight each landmark kept, 0 to 1.
    findings : tuple of Finding
        Landmarks that were set aside, loose planes.
    """

    plane: Plane
    sd_deg: float
    sd_mm: float
    middle_mm: FloatArray
    noise_mm: float
    misfit_mm: dict[str, float]
    weight: dict[str, float]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    normal: FloatArray
    offset: float
    center: FloatArray
    values: FloatArray
    total: float


@dataclass(frozen=True, slots=True, eq=False)
class _Arrays:
    midline: FloatArray
    middle: FloatArray
    across: FloatArray

    @classmethod
    def of(cls, marks: Landmarks) -> "_Arrays":
        left = np.array([pair[0] for pair in marks.pairs.values()], dtype=np.float64).reshape(-1, 3)
        right = np.array([pair[1] for pair in marks.pairs.values()], dtype=np.float64).reshape(-1, 3)
        midline = np.array(list(marks.midline.values()), dtype=np.float64).reshape(-1, 3)
        return cls(midline, (left + right) / 2.0, right - left)

    def fit(self, weight: FloatArray) -> _Fit:
        """Return the most likely plane, its middle, the eigenvalues and the summed weight."""
        w, p = weight[: len(self.midline)], weight[len(self.midline) :]
        total = float(w.sum() + 2.0 * p.sum())
        center = (w @ self.midline + 2.0 * p @ self.middle) / total
        a, b = self.midline - center, self.middle - center
        matrix = (a.T * w) @ a + 2.0 * (b.T * p) @ b - 0.5 * (self.across.T * p) @ self.across
        values, vectors = np.linalg.eigh(matrix)
        normal = vectors[:, 0] * (1.0 if vectors[np.abs(vectors[:, 0]).argmax(), 0] > 0.0 else -1.0)
        return _Fit(normal, float(normal @ center), center, values, total)

    def misfit(self, fitted: _Fit) -> tuple[FloatArray, FloatArray]:
        """Return the misfit of each landmark (root of its term of the sum) and its freedoms."""
        normal, offset = fitted.normal, fitted.offset
        flat = np.abs(self.midline @ normal - offset)
        sideways = self.across - np.outer(self.across @ normal, normal)
        paired = np.sqrt(2.0 * (self.middle @ normal - offset) ** 2 + 0.5 * (sideways**2).sum(axis=1))
        return np.concatenate([flat, paired]), np.repeat([1.0, 3.0], [len(flat), len(paired)])


def landmark_plane(landmarks: Landmarks, *, robust: bool = True) -> LandmarkPlane:
    """Return the most likely mirror plane of landmarks.

    Parameters
    ----------
    landmarks : Landmarks
        At least one pair, or three midline points that are not in a row, or two midline points and a pair.
    robust : bool
        Set landmarks aside that miss the plane by far more than the others; needs four or more.

    Raises
    ------
    GeometryError
        If the points leave the plane open.

    Notes
    -----
    Maximum likelihood for equal isotropic noise of all points: with the unknown true points eliminated, a
    midline point m contributes (n·m − d)², a pair with midpoint c and difference D contributes
    2(n·c − d)² + ½|D − (n·D)n|², so that n is the eigenvector of the smallest eigenvalue of
    Σ(m−c̄)(m−c̄)ᵀ + 2Σ(c−c̄)(c−c̄)ᵀ − ½ΣDDᵀ. Outliers: iteratively reweighted with
    1/(1 + (ρ/k)²)², k = 2.5 · 1.4826 · median ρ.
    """
    arrays = _Arrays.of(landmarks)
    prior = np.array([landmarks.weights.get(name, 1.0) for name in landmarks.names])
    if not prior.sum() > 0.0:
        raise GeometryError("There are 0 landmarks with weight.", remedy=_REMEDY)
    kept = _robust_weights(arrays, prior) if robust and len(prior) > 3 else np.ones(len(prior))
    return _described(landmarks, arrays, prior, kept, arrays.fit(prior * kept))


def _robust_weights(arrays: _Arrays, prior: FloatArray) -> FloatArray:
    """Return the weights of the start, all landmarks or one pair, that ends with the least median misfit."""
    lone = np.eye(len(prior))[len(arrays.midline) :] * (np.linalg.norm(arrays.across, axis=1) > 0.0)[:, None]
    starts = [np.ones(len(prior)), *lone[(lone * prior).sum(axis=1) > 0.0]]
    best, least = starts[0], np.inf
    for start in starts:
        kept = start
        for _ in range(ROBUST_STEPS):
            ratio = _ratio(arrays, prior, kept)
            width = max(ROBUST_WIDTH * float(np.median(ratio[prior > 0.0])), 1e-9)
            kept = 1.0 / (1.0 + (ratio / width) ** 2) ** 2
        median = float(np.median(_ratio(arrays, prior, kept)[prior > 0.0]))
        if median < least * (1.0 - 1e-6):
            best, least = kept, median
    return np.asarray(best)


def _ratio(arrays: _Arrays, prior: FloatArray, kept: FloatArray) -> FloatArray:
    misfit, _ = arrays.misfit(arrays.fit(prior * kept))
    return np.asarray(misfit * np.sqrt(prior))


def _described(
    landmarks: Landmarks,
    arrays: _Arrays,
    prior: FloatArray,
    kept: FloatArray,
    fitted: _Fit,
) -> LandmarkPlane:
    misfit, freedoms = arrays.misfit(fitted)
    stiffness = fitted.values[1:] - fitted.values[0]
    with np.errstate(divide="ignore"):
        loosest_deg = float(np.degrees(CLICK_SD_MM / np.sqrt(max(stiffness[0], 0.0))))
    if not loosest_deg < 90.0:
        raise GeometryError(
            f"{len(landmarks.midline)} midline points and {len(landmarks.pairs)} pairs leave the plane open.",
            remedy="Add a left-right pair or a midline point away from the others.",
        )
    weight = prior * kept
    spare = float((freedoms * kept * (prior > 0.0)).sum()) - 3.0
    noise = float(np.sqrt((weight * misfit**2).sum() / spare)) if spare > 0.5 else float("nan")
    known = np.isfinite(noise)
    names = landmarks.names
    return LandmarkPlane(
        plane=Plane(normal=fitted.normal, offset_mm=fitted.offset),
        sd_deg=float(np.degrees(noise * np.sqrt((1.0 / stiffness).sum()))) if known else float("inf"),
        sd_mm=noise / float(np.sqrt(fitted.total)) if known else float("inf"),
        middle_mm=fitted.center,
        noise_mm=noise,
        misfit_mm=dict(zip(names, misfit.tolist(), strict=True)),
        weight=dict(zip(names, kept.tolist(), strict=True)),
        findings=tuple(
            _findings(landmarks, dict(zip(names, zip(misfit, kept, strict=True), strict=True)), loosest_deg)
        ),
    )


def _findings(
    landmarks: Landmarks, fitted: dict[str, tuple[float, float]], loosest_deg: float
) -> list[Finding]:
    found = [
        Finding(
            code="landmark-set-aside",
            severity=Severity.CAUTION,
            message=f"Landmark '{name}' misses the plane of the others by {misfit:.1f} mm and was set aside.",
            where=(landmarks.midline[name],) if name in landmarks.midline else landmarks.pairs[name],
            measured=float(misfit),
            remedy="Look whether it was placed on the wrong spot, or left and right were exchanged.",
        )
        for name, (misfit, kept) in fitted.items()
        if kept < OUTLIER_WEIGHT
    ]
    if loosest_deg > LOOSEST_DEG:
        found.append(
            Finding(
                code="landmarks-loose",
                severity=Severity.CAUTION,
                message=f"With {CLICK_SD_MM} mm of placing error {loosest_deg:.0f}° stay open.",
                measured=loosest_deg,
                limit=LOOSEST_DEG,
                remedy="Add a left-right pair or a midline point away from the others.",
            )
        )
    return found


def read_landmarks(path: str | Path) -> Landmarks:
    """Read a landmark file, JSON or plain text (see the top of this module).

    Raises
    ------
    InputFileError
        If the file cannot be read or understood; the message names the line or the name.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputFileError(
            f"The landmark file '{path.name}' cannot be read: {error}.", remedy=_REMEDY
        ) from error
    try:
        marks = _from_json(text) if text.lstrip().startswith("{") else _from_lines(text)
    except (UsageError, ValueError, TypeError, KeyError, AttributeError) as error:
        told = error.message if isinstance(error, UsageError) else f"{type(error).__name__} {error}"
        raise InputFileError(
            f"The landmark file '{path.name}' is not understood: {told}", remedy=_REMEDY
        ) from error
    if not marks.names:
        raise InputFileError(f"The landmark file '{path.name}' holds 0 landmarks.", remedy=_REMEDY)
    return marks


def _point(numbers: list[float]) -> Point:
    if len(numbers) != 3:
        raise UsageError(f"A point has {len(numbers)} numbers, not 3.", remedy=_REMEDY)
    return float(numbers[0]), float(numbers[1]), float(numbers[2])


def _from_json(text: str) -> Landmarks:
    data = json.loads(text)
    stray = set(data) - {"midline", "pairs", "weights"}
    if stray:
        raise UsageError(f"The entry '{min(stray)}' is not known.", remedy=_REMEDY)
    pairs = data.get("pairs", {})
    return Landmarks(
        midline={name: _point(point) for name, point in data.get("midline", {}).items()},
        pairs={name: (_point(pair["left"]), _point(pair["right"])) for name, pair in pairs.items()},
        weights={name: float(weight) for name, weight in data.get("weights", {}).items()},
    )


def _from_lines(text: str) -> Landmarks:
    sides: dict[str, dict[str, Point]] = {"midline": {}, "left": {}, "right": {}}
    weights: dict[str, float] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        words = line.split("#")[0].split()
        if not words:
            continue
        side, name = words[0], words[1] if len(words) > 1 else ""
        if side not in sides or len(words) not in (5, 6):
            raise UsageError(f"Line {number} is '{line.strip()}'.", remedy=_REMEDY)
        if name in sides[side]:
            raise UsageError(f"Line {number} repeats '{side} {name}'.", remedy=_REMEDY)
        try:
            values = [float(word) for word in words[2:]]
        except ValueError as error:
            raise UsageError(f"Line {number}: {error}.", remedy=_REMEDY) from error
        sides[side][name] = _point(values[:3])
        if len(values) == 4:
            weights[name] = min(values[3], weights.get(name, np.inf))
    single = set(sides["left"]) ^ set(sides["right"])
    if single:
        raise UsageError(f"'{min(single)}' has only one side.", remedy="Give a left and a right point.")
    pairs = {name: (point, sides["right"][name]) for name, point in sides["left"].items()}
    return Landmarks(midline=sides["midline"], pairs=pairs, weights=weights)
