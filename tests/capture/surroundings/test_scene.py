"""Where sheets stand that a photograph does not show."""

import numpy as np
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.sheets.field import Board, MarkerField
from digitise.capture.surroundings.scene import placed_boards
from digitise.geometry.rigid import Pose

SQUARE = np.array([[[-20.0, 20.0], [20.0, 20.0], [20.0, -20.0], [-20.0, -20.0]]])
FIELD = MarkerField(
    "DICT_APRILTAG_36h11",
    tuple(
        Board(name, role, np.array([200.0, 300.0]), (n,), SQUARE)
        for n, (name, role) in enumerate([("mat", "mat"), ("upper", "backdrop"), ("lower", "backdrop")])
    ),
)
UPRIGHT = Rotation.from_euler("x", 90, degrees=True).as_matrix()


def panel(y: float, z: float) -> Pose:
    return Pose(UPRIGHT, np.array([0.0, y, z]))


def calibrated(boards: tuple[dict[str, Pose], ...], still: dict[str, tuple[tuple[int, ...], ...]]):
    nothing = ((),) * len(boards)
    return Calibration((), boards, still, (), nothing, (), (), np.zeros((0, 0)), ())


def test_a_hidden_sheet_stands_where_another_photograph_saw_it():
    """Both photographs show the upper page, which stood still; only the first shows the lower one."""
    upper, lower = panel(900.0, 700.0), panel(900.0, 200.0)
    mat = Pose.identity()
    found = calibrated(
        ({"mat": mat, "upper": upper, "lower": lower}, {"mat": mat, "upper": upper}),
        {"mat": ((0, 1),), "upper": ((0, 1),), "lower": ((0,),)},
    )
    placed = {board.name: pose for board, pose in placed_boards(found, FIELD, 1)}
    assert set(placed) == {"mat", "upper", "lower"}
    np.testing.assert_array_equal(placed["lower"].translation, lower.translation)


def test_pages_of_one_panel_move_together():
    """The limb turned by a quarter with its mat: the panel stands elsewhere, its pages as before on it."""
    upper, lower = panel(900.0, 700.0), panel(900.0, 200.0)
    turn = Pose(Rotation.from_euler("z", 90, degrees=True).as_matrix(), np.zeros(3))
    mat = Pose.identity()
    found = calibrated(
        ({"mat": mat, "upper": upper, "lower": lower}, {"mat": mat, "upper": turn @ upper}),
        {"mat": ((0, 1),), "upper": ((0,), (1,)), "lower": ((0,),)},
    )
    placed = {board.name: pose for board, pose in placed_boards(found, FIELD, 1)}
    np.testing.assert_allclose(placed["lower"].translation, (turn @ lower).translation, atol=1e-9)
    np.testing.assert_allclose(placed["lower"].rotation, (turn @ lower).rotation, atol=1e-12)


def test_nothing_is_said_of_a_sheet_when_no_other_tells_whether_the_set_up_moved():
    mat = Pose.identity()
    found = calibrated(
        ({"mat": mat, "lower": panel(900.0, 200.0)}, {"mat": mat, "upper": panel(900.0, 700.0)}),
        {"mat": ((0, 1),), "upper": ((1,),), "lower": ((0,),)},
    )
    assert [board.name for board, _ in placed_boards(found, FIELD, 1)] == ["mat", "upper"]
