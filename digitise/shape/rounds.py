"""The rounds of a fit: where planes touch, how far each point is to be trusted, solve; until it settles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitise.errors import ContradictionError
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.limb import SHARED_ERRORS
from digitise.shape.scene import ACROSS, SWAY_WAYS, Scene, mode_columns, touch_limb
from digitise.shape.solve import (
    BIAS_SD_PX,
    EdgeData,
    Posterior,
    Prior,
    edge_information,
    log_evidence,
    reweigh,
    solve,
)
from digitise.shape.tangents import Samples

# The rounds end when one changes no girth and no area by more than this part, a tenth of what their intervals
# are at their narrowest; most outlines settle in 3 to 6 rounds.
_SETTLED = 5e-4
_MOST_ROUNDS = 40
# From this round on each starts from the mean of the last two: robust weights may swing to and fro.
_CALM_FROM = 8
_LEAST_RADIUS_MM = 10.0
# Which samples enter is settled in the first rounds, for one that comes and goes keeps the others from it; by
# then their heights shift by less than this, mm.
_JOIN_ROUNDS = 3
DRIFT_MM = 10.0
# Outlines must be this much likelier (log odds) under the prior of a made solid: of a thousand things
# photographed as limbs, one is taken to be a pipe or a bucket.
_SOLID_LOG_ODDS = 7.0
# Edges of 74 drawn legs were likelier by 70 (median of the log odds) under the prior of whole legs than under
# that of any leg, all but one by more than this, and those of 65 photo-real ones by 18 or more.
_LIKE_LOG_ODDS = 10.0
# Two views cannot contradict each other; of three, what looks like a movement may be the sections' order 3.
# With four, the limb is taken to have moved more than usual where the edges are likelier for it by this (log
# odds), and what they tell of its movements is larger than usual (rms of six, in sds): by chance one in 300.
# Either alone takes a limb swollen on one side, unlike its kind, for one that moved; of 12 drawn legs that
# moved by 2 mm and 0.75 degrees (sd) the intervals of 10 hold instead of 7.
_LEAST_TELLING = 4
_SWAYS = (1.0, 2.0, 4.0, 8.0)
_SWAY_LOG_ODDS, _SWAY_RMS = 5.0, 1.8
# A shorter piece of a thigh may be as straight as a pipe.
_SOLID_LEAST_MM = 300.0


Stretch = tuple[int, int, float, float]  # view, edge, and between which heights, mm
Members = tuple[tuple[NDArray[np.bool_], ...], ...]


@dataclass(frozen=True, eq=False)
class Belief:
    """The current estimate within the rounds; ``edge_part`` is what all ``edges`` together tell.

    ``lips`` is what splines do not follow (:func:`digitise.shape.priors.unfollowed`), part of the posterior's
    covariance.
    """

    prior: Prior
    posterior: Posterior
    edges: tuple[EdgeData, ...]
    edge_part: tuple[Array, Array]
    lips: Array

    def widened(self, posterior: Posterior) -> Posterior:
        """Return the posterior when the limb may be off at its lips, of which nothing tells."""
        return replace(posterior, covariance=posterior.covariance + self.lips @ self.lips.T)


def settle(
    scene: Scene,
    basis: Basis,
    start: tuple[tuple[Samples, ...], ...],
    sections: priors.SectionPrior,
    overruled: Sequence[Stretch] = (),
) -> Belief:
    """Iterate touching points, robust weights and solve; return the belief from edges alone.

    Unsure samples in stretches that are ``overruled`` do not enter.  Where the limb then bends more than the
    prior expects, that counts for less in a last solve.

    Raises
    ------
    ContradictionError
        When the rounds do not settle.
    """
    level = float(np.median(np.concatenate([edge.h for view in start for edge in view])))
    radius = np.full(basis.n_splines, max(level, _LEAST_RADIUS_MM))
    prior = Prior(np.zeros(basis.size), priors.precision(sections, basis, radius))
    members = _members(basis, start, overruled)
    edges = _edge_data(scene, basis, start, members, None)
    belief = _believed(basis, prior, edges)
    touched = start
    for number in range(_MOST_ROUNDS - 1):
        mean, last = belief.posterior.mean, belief.posterior
        touched = _touch_all(scene, basis, mean, touched)
        if number < _JOIN_ROUNDS:
            members = _members(basis, touched, overruled)
        edges = _edge_data(scene, basis, touched, members, belief)
        prior = _prior(basis, mean, sections)
        belief = _believed(basis, prior, edges)
        if number + 1 >= _JOIN_ROUNDS and _change(basis, belief.posterior.mean, mean) < _SETTLED:
            return _as_bent(basis, belief, sections)
        if number > _CALM_FROM:
            belief = replace(belief, posterior=_between(last, belief.posterior))
    raise ContradictionError(
        "The outlines do not settle on one shape.",
        where=", ".join(scene.names),
        do="Check the outlines, and whether the limb moved between the photographs.",
    )


def _believed(basis: Basis, prior: Prior, edges: tuple[EdgeData, ...]) -> Belief:
    edge_part = edge_information(basis, edges)
    return Belief(prior, solve(basis, prior, edge_part), edges, edge_part, np.zeros((basis.size, 0)))


def _as_bent(basis: Basis, belief: Belief, sections: priors.SectionPrior) -> Belief:
    """Return the belief under a prior that is weaker where the limb bends more than it expects, lips told."""
    mean = belief.posterior.mean
    radius = _radius(basis, mean)
    share = priors.share_kept(sections, basis, radius, mean)
    prior = Prior(belief.prior.mean, priors.precision(sections, basis, radius, share))
    found = solve(basis, prior, belief.edge_part)
    bent = replace(belief, prior=prior, lips=priors.unfollowed(basis, found.mean, share))
    return replace(bent, posterior=bent.widened(found))


def _between(one: Posterior, other: Posterior) -> Posterior:
    return replace(other, mean=(one.mean + other.mean) / 2, modes=(one.modes + other.modes) / 2)


def _change(basis: Basis, now: Array, before: Array) -> float:
    """Return by what part of itself a girth or an area changes at most, over all heights."""
    weight = area_weights(basis.harmonics)
    new, old = (basis.sections(each, basis.places) for each in (now, before))
    girths = np.abs(new[:, 0] / old[:, 0] - 1)
    areas = np.abs((new**2 @ weight) / (old**2 @ weight) - 1)
    return float(max(girths.max(), areas.max()))


def _radius(basis: Basis, mean: Array) -> Array:
    """Return the mean radius (n_splines,) at ``basis.places``, mm."""
    return np.maximum(basis.splines(basis.places) @ mean[: basis.n_splines], _LEAST_RADIUS_MM)


def _prior(basis: Basis, mean: Array, sections: priors.SectionPrior) -> Prior:
    return Prior(priors.mean(sections, basis, mean), priors.precision(sections, basis, _radius(basis, mean)))


def is_solid(basis: Basis, belief: Belief, limb: priors.SectionPrior) -> bool:
    """Whether the edges tell of a straight-sided solid: a limb's prior would count unseen bulges it lacks."""
    if basis.high - basis.low < _SOLID_LEAST_MM:
        return False
    return _log_odds(basis, belief, priors.SOLID, limb) > _SOLID_LOG_ODDS


def is_unlike(basis: Basis, belief: Belief, legs: priors.SectionPrior, limb: priors.SectionPrior) -> bool:
    """Whether edges are hardly likelier under the prior of whole ``legs`` than under that of any ``limb``."""
    return _log_odds(basis, belief, legs, limb) < _LIKE_LOG_ODDS


def _log_odds(basis: Basis, belief: Belief, one: priors.SectionPrior, other: priors.SectionPrior) -> float:
    """Return how much likelier the edges are under ``one`` prior than under the ``other``."""
    mean = belief.posterior.mean
    radius = _radius(basis, mean)

    def evidence(sections: priors.SectionPrior) -> float:
        weight = priors.log_determinant(sections, basis, radius)
        return log_evidence(basis, _prior(basis, mean, sections), weight, belief.edge_part)

    return evidence(one) - evidence(other)


def likeliest_sway(scene: Scene, basis: Basis, belief: Belief) -> float:
    """Return by how many times more than usual the limb moved, as the edges of four views or more tell.

    What it moved across the lines of sight tells: along them a movement looks like another size, which may as
    well be one of the limb.  Modes have an sd of one each, so larger movements are larger columns of theirs.

    Raises
    ------
    ShapeError
        When the edges leave the limb undetermined.
    """
    if len(scene.names) < _LEAST_TELLING:
        return scene.swayed
    first = basis.size + len(SHARED_ERRORS) + scene.doubts
    across = np.arange(first, len(belief.edge_part[1]), SWAY_WAYS)[:, None] + np.arange(ACROSS)
    matrix, right = belief.edge_part

    def evidence(size: float) -> float:
        grown = np.ones(len(right))
        grown[across] = size
        return log_evidence(basis, belief.prior, 0.0, (np.outer(grown, grown) * matrix, grown * right))

    told = belief.posterior.modes[across - basis.size]
    if np.sqrt(np.mean(told**2)) <= _SWAY_RMS:
        return scene.swayed
    usual, *larger = (evidence(size) for size in _SWAYS)
    best = int(np.argmax(larger))
    return _SWAYS[1 + best] if larger[best] > usual + _SWAY_LOG_ODDS else scene.swayed


def _touch_all(
    scene: Scene, basis: Basis, mean: Array, last: tuple[tuple[Samples, ...], ...]
) -> tuple[tuple[Samples, ...], ...]:
    return tuple(
        tuple(
            touch_limb(planes, basis.sections(mean, samples.z))
            for planes, samples in zip(view, seen, strict=True)
        )
        for view, seen in zip(scene.nominal, last, strict=True)
    )


def _members(basis: Basis, touched: tuple[tuple[Samples, ...], ...], overruled: Sequence[Stretch]) -> Members:
    """Choose the samples that enter, a little inside the basis: their heights still shift with the depth."""
    low, high = basis.low + DRIFT_MM, basis.high - DRIFT_MM
    members = tuple(tuple(edge.within(low, high) for edge in view) for view in touched)
    for view, edge, from_mm, to_mm in overruled:
        samples = touched[view][edge]
        members[view][edge][samples.within(from_mm, to_mm) & ~samples.sure] = False
    return members


def _edge_data(
    scene: Scene,
    basis: Basis,
    touched: tuple[tuple[Samples, ...], ...],
    members: Members,
    belief: Belief | None,
) -> tuple[EdgeData, ...]:
    """Gather the samples that enter, with camera modes and the robust weights of the last belief."""
    found = []
    for view, edges in enumerate(touched):
        for edge, samples in enumerate(edges):
            keep = members[view][edge]
            modes = np.zeros((len(samples.z), len(scene.moved)))
            if belief is not None:
                moved = [mode[view][edge] for mode in scene.moved]
                nominal, mean = scene.nominal[view][edge], belief.posterior.mean
                modes = mode_columns(nominal, moved, samples, basis, mean)
                modes[:, scene.doubts :] *= scene.swayed
            known = np.column_stack([_shared_columns(samples), modes])[keep]
            data = EdgeData(view, edge, samples.pick(keep), known, np.ones(np.count_nonzero(keep)))
            if len(data.weight) < 2:
                continue
            found.append(data if belief is None else reweigh(basis, data, belief.posterior))
    return tuple(found)


def _shared_columns(samples: Samples) -> Array:
    """Return by how much the samples stand out too far for one sd of each of ``SHARED_ERRORS``, (N, E) mm."""
    columns = np.zeros((len(samples.z), len(SHARED_ERRORS)))
    columns[:, SHARED_ERRORS.index("outline")] = BIAS_SD_PX * samples.mm_per_px
    return columns
