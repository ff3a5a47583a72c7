"""Cameras made in known ways are named right, and none wrongly with confidence."""

from collections import Counter

import numpy as np
import pytest
from made_cameras import KINDS, MOTIONS, POINTS, every

from evidence.confusion import NAMES, SAMPLE, lines, named_all

RIGHT = 0.9
UNBIASED_S = 0.02


def held(found):
    """Hold a table to what is promised, and say what it missed."""
    said = "\n".join(lines(found))
    assert not [one.words for one in found if one.wrong], said
    assert sum(one.right for one in found) >= RIGHT * len(found), said
    assert {one.called for one in found} <= set(NAMES)


def test_the_matrix_is_whole():
    words = list(every())
    assert len(words) == len(set(words)) == 12 * 5 * 4 * 2
    assert (len(KINDS), len(MOTIONS), len(POINTS)) == (12, 5, 4)
    # The sample has every kind, motion, point and both shakes.
    sample = words[::SAMPLE]
    for place, all_of in enumerate((KINDS, MOTIONS, POINTS, (False, True))):
        assert {one[place] for one in sample} == set(all_of)


def test_a_sample_is_named_right():
    held(named_all(SAMPLE, workers=1))


@pytest.mark.long
@pytest.mark.slow
def test_all_are_named_right_and_reaction_is_unbiased():
    found = named_all()
    held(found)
    named = Counter(one.truth for one in found if one.right)
    assert all(named[one.truth] for one in found)
    for preset in ("steady", "brisk", "sharp", "heavy_head"):
        off = [
            one.reaction_off_s
            for one in found
            if one.words[0] == preset and one.right and one.reaction_off_s is not None
        ]
        assert abs(np.median(off)) < UNBIASED_S, preset
    calm = [one for one in found if one.words[1] == "gait" and not one.words[3]]
    assert all((one.shake_percent or 0.0) < 0.05 for one in calm if one.right)
