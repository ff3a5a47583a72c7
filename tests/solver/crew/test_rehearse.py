"""Focus by marks: the depth of the eyes, read ahead, from where the lens will be."""

import numpy as np
from shots import random_shot

from carrellata.solver.action.acted import acted
from carrellata.solver.crew.perform import perform
from carrellata.solver.crew.puller import LEAST_DEPTH_M, CameraPlans
from carrellata.solver.crew.rehearse import rehearsed_focus
from carrellata.solver.frame.projection import project


def test_marks_are_the_depth_that_the_camera_sees():
    limited = 0
    for number in range(18):
        shot = random_shot(np.random.default_rng(number), number)
        done, nearest = perform(shot), 0.2
        who, mine = shot.subjects[0], np.arange(len(done.ticks)) % 2 == 0
        truth = np.full(len(done.ticks), np.nan)
        camera = CameraPlans(done.dolly.log, done.pan.log, done.tilt.log)
        rig = shot.rig.shape
        rehearsed_focus(acted(who), done.ticks, mine, rig, camera, nearest, truth)
        rail, pan, tilt = (
            plans.at(done.ticks)[:, 0] for plans in (done.dolly, done.pan, done.tilt)
        )
        eyes, base = who.at(done.ticks, 1.0), shot.rig.places(rail)
        _, _, depth = project(eyes, base, pan, tilt, 0.0, 1.0, 1.0)
        expected = np.minimum(nearest, 1.0 / np.maximum(depth, LEAST_DEPTH_M))
        np.testing.assert_allclose(truth[mine], expected[mine], rtol=1e-12)
        assert np.isnan(truth[~mine]).all()
        limited += np.count_nonzero(truth[mine] == nearest)
    assert limited > 0
