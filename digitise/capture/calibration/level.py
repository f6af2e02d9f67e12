"""The pages of one mat lie on one floor or table.

Each page is solved by its own markers.  A foot or hand that hides most of the page which is the world would
leave that one to tilt as it likes, and everything with it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from digitise.capture.calibration.bundle_adjustment import IntArray, State
from digitise.capture.calibration.setup import Key, Problem
from digitise.geometry.rigid import Array, cross_matrices, left_jacobians

# Paper that is taped to a floor or table lifts by as much at its corners (one sd; ours).  Six markers tell a
# page's height ten times better, so that a mat on a soft couch is still found as it lies.
_LIFTS_MM = 1.0


@dataclass(frozen=True, eq=False)
class Level:
    """Points of bodies that lie in the world's plane z = 0 to within what paper lifts.

    Attributes
    ----------
    xyz
        (N, 3) mm in the frame of their body.
    body
        (N,) which body.
    """

    xyz: Array
    body: IntArray

    def residuals(self, state: State) -> Array:
        """Return the heights (N,) of the points, in standard deviations."""
        return np.asarray((self._about(state)[:, 2] + self._middles(state)) / _LIFTS_MM)

    def rows(self, state: State, step: Array) -> Array:
        """Return the derivative (N, size) of the residuals by the ``step`` (size,) that led to this state."""
        about = self._about(state)
        out = np.zeros((len(self.body), state.size))
        for n, body in enumerate(self.body):
            where = state.body_slice(int(body))
            turned = left_jacobians(step[where][None, :3])[0]
            out[n, where] = [*(-cross_matrices(about[n : n + 1])[0] @ turned)[2], 0.0, 0.0, 1.0]
        return out / _LIFTS_MM

    def _about(self, state: State) -> Array:
        turn = np.array([state.bodies[body].rotation for body in self.body])
        return np.asarray(np.einsum("nij,nj->ni", turn, self.xyz))

    def _middles(self, state: State) -> Array:
        return np.array([state.bodies[body].translation[2] for body in self.body])


def level_pages(problem: Problem, bodies: Mapping[Key, int]) -> tuple[Level, ...]:
    """Return the corners of the mat's pages but the one that is the world; nothing of a mat of one page."""
    pages = {body: board for (_, board), body in bodies.items() if board in problem.mats}
    ends = np.array([[-1.0, -1.0, 0.0], [1.0, -1.0, 0.0], [1.0, 1.0, 0.0], [-1.0, 1.0, 0.0]]) / 2.0
    corners = [ends * [*problem.field.boards[board].size, 0.0] for board in pages.values()]
    if not pages:
        return ()
    return (Level(np.reshape(corners, (-1, 3)), np.repeat(np.array(list(pages), np.intp), len(ends))),)
