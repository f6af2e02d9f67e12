"""Whether three or more photographs agree on one limb that stood still."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from digitise.geometry.rigid import Array
from digitise.shape.basis import Basis
from digitise.shape.solve import EdgeData, Prior, edge_information, log_evidence, solve

# Edges must be this much likelier (log odds) with a limb that moved than with one that stood: 20 to 1.
_MOVED_LOG_ODDS = 3.0
# What may have gone unseen where three photographs agree, over what a limb may move unseen between two.
_UNSEEN_SHARE = 1 / 3
_AMOUNTS = 5  # ways in which a limb sways


@dataclass(frozen=True)
class Agreement:
    """What the photographs say of a movement between them.

    Attributes
    ----------
    edges
        With the sway that has to be reckoned with.
    odd
        The view that agrees least with the others, None where all agree or two cannot tell.
    """

    edges: tuple[EdgeData, ...]
    odd: int | None


def agreement(basis: Basis, prior: Prior, log_determinant: float, edges: tuple[EdgeData, ...]) -> Agreement:
    """Weigh a limb that stood still against one that moved between the photographs.

    With two views nothing can be told, so all sway is reckoned with. With more, edges that fit a still limb
    leave little room for any; where they fit a moved one far better, it moved.
    """
    ways = edges[0].sway.shape[1]
    if len({data.view for data in edges}) < 3:
        return Agreement(edges, None)
    free = tuple(replace(data, modes=np.column_stack([data.modes, data.sway])) for data in edges)
    still, moving = edge_information(basis, edges), edge_information(basis, free)
    odds = log_evidence(basis, prior, log_determinant, moving) - log_evidence(
        basis, prior, log_determinant, still
    )
    if odds > _MOVED_LOG_ODDS:
        amounts = solve(basis, prior, moving).modes[-ways:].reshape(-1, _AMOUNTS)
        return Agreement(edges, _odd(np.vstack([np.zeros(_AMOUNTS), amounts])))
    return Agreement(tuple(replace(data, sway=_UNSEEN_SHARE * data.sway) for data in edges), None)


def _odd(amounts: Array) -> int:
    """Return the view without which the others moved least against each other; amounts (V, 5) in sd."""
    left = [np.delete(amounts, n, axis=0) for n in range(len(amounts))]
    return int(np.argmin([np.sum((rest - rest.mean(axis=0)) ** 2) for rest in left]))
