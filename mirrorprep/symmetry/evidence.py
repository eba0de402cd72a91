"""How strongly the surface speaks for a plane.

Each sample, mirrored, finds a counterpart at distance r, or none. With the share ε of strays and the width
τ of the other distances (see `mixture`) a sample weighs

    log((1 − ε) · half-normal(r; τ) · R + ε)

natural units (nats): up to 5 for an exact counterpart, about 2 for the natural asymmetry of a face, log ε
where the known surface has none, and 0 where the surface is not known. Samples near the plane, which any
plane maps close to themselves, count less. The mean over all samples is the evidence.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mirrorprep.symmetry.cloud import Cloud
from mirrorprep.symmetry.lattice import Lattice
from mirrorprep.symmetry.mixture import Mixture
from mirrorprep.symmetry.pairing import Images, close_pairs, counterparts, distances, levers, surface

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FINEST = 2e-4
STEPS = 20


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Match:
    """How the samples of a cloud meet their counterparts; leading axis over the planes.

    Attributes
    ----------
    residual : (k, p) float64
        Distance of each mirrored sample from the surface, infinite where it has no counterpart in reach.
    lever : (k, p) float64
        Weight of each sample, 0 on the plane, 1 far from it.
    excused : (k, p) bool
        Where the surface is not known.
    """

    residual: FloatArray
    lever: FloatArray
    excused: BoolArray

    @property
    def known(self) -> FloatArray:
        """Lever of each sample, zero where its counterpart is not known."""
        return np.asarray(self.lever * (np.isfinite(self.residual) | ~self.excused))


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Evidence:
    """The evidence for each of k planes.

    Attributes
    ----------
    nats : (k,) float64
        Mean weight of a sample.
    share : (k,) float64
        Fitted share of the known samples that follow the symmetry.
    width : (k,) float64
        Fitted width τ of their distances.
    known : (k,) float64
        Mean lever of the samples whose counterpart is found or known to be absent.
    """

    nats: FloatArray
    known: FloatArray
    share: FloatArray
    width: FloatArray


def match(cloud: Cloud, grid: Lattice, chosen: IntArray, normals: FloatArray, offsets: FloatArray) -> Match:
    """Mirror the chosen samples across k planes and find their counterparts."""
    images = Images.of(*surface(cloud, chosen), normals, offsets)
    found = close_pairs(cloud, images, counterparts(cloud, images))
    cell = grid.cells(*np.moveaxis(images.image.astype(np.float32), -1, 0))
    return Match(
        residual=distances(found),
        lever=levers(images, normals, offsets),
        excused=grid.excused[cell],
    )


def weigh(matched: Match) -> Evidence:
    """Fit share and width for each plane and return the evidence."""
    known = matched.known
    mixture = Mixture.start(len(known), width=0.003)
    for _ in range(STEPS):
        member = mixture.membership(matched.residual)
        mixture = mixture.updated(matched.residual, member, known, finest=FINEST)
    weights = known * np.log(mixture.following(matched.residual) + mixture.stray[:, None])
    return Evidence(
        nats=weights.mean(axis=1), known=known.mean(axis=1), share=1.0 - mixture.stray, width=mixture.width
    )
