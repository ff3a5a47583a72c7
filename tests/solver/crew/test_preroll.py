"""The crew follows before the first frame, so that a shot begins under way."""

from shots import acted, shot, sticks, walk

from carrellata.solver.take import operate


def test_the_preroll_has_the_camera_under_way_at_the_first_frame():
    # Across a lens 10 m away, 1.4 m/s is 0.14 rad/s where the walker is nearest.
    one = shot(acted(walk(start=(0.0, 0.0, 0.0)), 2.0), sticks(10.0))
    pan = operate(one).pan[:, 0]
    assert abs(pan[3] - pan[0]) * 24 / 3 > 0.07
