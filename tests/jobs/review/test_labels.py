"""Labels stand on nothing that is there before, near where they are wanted."""

from math import dist

import numpy as np

from carrellata.jobs.review.labels import LETTER_PX, Labels
from carrellata.jobs.review.svg import Box

BOX = Box(left=0, top=0, width=200, height=200)


def area(words: str, place: tuple[float, float]) -> tuple[float, float, float, float]:
    half = LETTER_PX * len(words) / 2
    return (place[0] - half, place[1] - 9, place[0] + half, place[1] + 2)


def test_a_label_with_room_stands_where_it_is_wanted() -> None:
    labels = Labels(BOX)
    labels.keep_clear(np.array([[100.0, 100.0], [np.nan, 5.0]]), 5.0)
    assert labels.place("1", of=(100, 100), wanted=(100, 88)) == (100, 88)


def test_labels_of_one_place_stand_beside_one_another_and_off_the_mark() -> None:
    labels = Labels(BOX)
    labels.keep_clear(np.array([[100.0, 100.0]]), 5.0)
    words = ["1, 2", "3", "kiosk", "4"]
    areas = [
        area(one, labels.place(one, of=(100, 100), wanted=(100, 88))) for one in words
    ]
    areas.append((95, 95, 105, 105))
    for k, (left, top, right, bottom) in enumerate(areas):
        for other in areas[k + 1 :]:
            apart = other[0] >= right or other[2] <= left
            assert apart or other[1] >= bottom or other[3] <= top


def test_a_label_stays_inside_the_drawing() -> None:
    labels = Labels(BOX)
    place = labels.place("gangway", of=(195, 100), wanted=(198, 88))
    assert area("gangway", place)[2] <= 200
    assert dist(place, (195, 100)) < 60
