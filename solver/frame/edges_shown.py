"""Which pieces of the edges of a set a picture may show, before what hides them."""

import numpy as np

from ..arrays import BoolArray
from ..compiled.kernel import kernel
from ..sight.lines import BALL, Pieces
from .projection import from_lens, on_screen, turn_of
from .sight import SightCamera

BESIDE = 1.3  # half frames, in which a piece may be shown


def pieces_shown(pieces: Pieces, camera: SightCamera) -> BoolArray:
    """Return which pieces each of f pictures may show, (f, n).

    An end of each is in the picture, or beside it by less than `BESIDE` says; of a
    round surface only pieces of its outline are shown.

    Args:
        pieces: n of them.
        camera: at f samples.
    """
    shown = np.zeros((len(camera.cams), len(pieces.ends)), dtype=np.bool_)
    fill_shown(pieces, camera, BESIDE, shown)
    return shown


@kernel
def fill_shown(pieces, camera, beside, shown):
    """Fill `shown` (f, n), see `pieces_shown`."""
    ends, middle, length = pieces.ends, pieces.middle, pieces.length
    balls = pieces.balls
    normals, smooth, screen = pieces.normals, pieces.smooth, camera.screen
    # Across the depth by which the sides of the widened picture move out.
    wide, high = beside * screen.tx, (beside + abs(screen.axis_v)) * screen.ty
    slant = 1.0 + max(wide, high)
    for f in range(shown.shape[0]):
        place = (camera.cams[f, 0], camera.cams[f, 1], camera.cams[f, 2])
        turn = turn_of(camera.cams[f, 3], camera.cams[f, 4], camera.roll_rad)
        ahead = 0
        for n in range(shown.shape[1]):
            if n % BALL == 0:
                ball = n // BALL
                point = (balls[ball, 0], balls[ball, 1], balls[ball, 2])
                x, y, z = from_lens(point, place, turn)
                room = slant * balls[ball, 3]
                beyond = abs(x) > room - wide * z or abs(y) > room - high * z
                ahead = n + BALL if beyond else n
            if n < ahead:
                continue
            point = (middle[n, 0], middle[n, 1], middle[n, 2])
            x, y, z = from_lens(point, place, turn)
            room = slant * length[n] / 2
            if abs(x) > room - wide * z or abs(y) > room - high * z:
                continue  # both ends are beside it
            if smooth[n]:
                one = two = 0.0
                for c in range(3):
                    toward = place[c] - middle[n, c]
                    one += toward * normals[n, 0, c]
                    two += toward * normals[n, 1, c]
                if (one > 0.0) == (two > 0.0):
                    continue
            for end in range(2):
                point = (ends[n, end, 0], ends[n, end, 1], ends[n, end, 2])
                x, y, z = from_lens(point, place, turn)
                u, v = on_screen(x, y, z, screen)
                if abs(u) <= beside and abs(v) <= beside:
                    shown[f, n] = True
