"""Timecode labels against the counts of SMPTE ST 12-1 and against each other."""

from fractions import Fraction

import pytest

from carrellata.jobs.job.timecode import (
    drop_frame_label_of_frame,
    frame_of_label,
    is_drop_frame,
    label_of_frame,
)

NTSC = Fraction(30000, 1001)
DOUBLE_NTSC = Fraction(60000, 1001)
FILM = Fraction(24000, 1001)

# Worked out from the rule of SMPTE ST 12-1: labels ;00 and ;01 are left out in
# every minute but each tenth.
DROP_FRAME_LABELS = [
    (0, "00:00:00;00"),
    (1799, "00:00:59;29"),
    (1800, "00:01:00;02"),
    (17981, "00:09:59;29"),
    (17982, "00:10:00;00"),
    (107892, "01:00:00;00"),
    (2589407, "23:59:59;29"),
]


@pytest.mark.parametrize(("frame", "label"), DROP_FRAME_LABELS)
def test_drop_frame_labels_are_those_of_the_standard(frame: int, label: str) -> None:
    assert drop_frame_label_of_frame(frame, NTSC) == label
    assert frame_of_label(label, NTSC) == frame


@pytest.mark.parametrize(("rate", "dropped"), [(NTSC, 2), (DOUBLE_NTSC, 4)])
def test_drop_frame_counts_as_a_list_of_all_labels_does(
    rate: Fraction, dropped: int
) -> None:
    nominal = round(rate)
    labels = [
        f"00:{minute:02d}:{second:02d};{frame:02d}"
        for minute in range(21)
        for second in range(60)
        for frame in range(nominal)
        if not (second == 0 and frame < dropped and minute % 10)
    ]
    frames = range(len(labels))
    assert [drop_frame_label_of_frame(frame, rate) for frame in frames] == labels
    assert [frame_of_label(label, rate) for label in labels] == list(frames)


def test_an_hour_of_drop_frame_leaves_out_108_labels() -> None:
    # SMPTE ST 12-1: 107 892 frames in an hour of labels, 2 589 408 in a day.
    assert frame_of_label("01:00:00;00", NTSC) == 30 * 3600 - 108
    assert drop_frame_label_of_frame(2_589_408, NTSC) == "00:00:00;00"
    assert drop_frame_label_of_frame(-1, NTSC) == "23:59:59;29"


@pytest.mark.parametrize(
    ("frame", "rate", "label"),
    [
        (86400, FILM, "01:00:00:00"),
        (90024, Fraction(25), "01:00:00:24"),
        (1800, NTSC, "00:01:00:00"),
        (24 * 86400 + 5, Fraction(24), "00:00:00:05"),
        (-1, Fraction(24), "23:59:59:23"),
        (119, Fraction(120), "00:00:00:119"),
    ],
)
def test_labels_without_drop_frame_count_every_frame(
    frame: int, rate: Fraction, label: str
) -> None:
    assert label_of_frame(frame, rate) == label
    assert frame_of_label(label, rate) == frame % (86400 * round(rate))


def test_non_drop_labels_at_film_rate_run_3_6_seconds_an_hour_behind() -> None:
    # 24000/1001: an hour of labels takes 3603.6 s of clock.
    assert frame_of_label("01:00:00:00", FILM) / FILM - 3600 == Fraction(36, 10)


def test_a_semicolon_means_drop_frame() -> None:
    assert is_drop_frame("01:00:00;00")
    assert not is_drop_frame("01:00:00:00")


@pytest.mark.parametrize(
    ("text", "rate", "message"),
    [
        ("1:00:00:00", FILM, "must be HH:MM:SS:FF, got '1:00:00:00'"),
        ("01:60:00:00", FILM, "must be HH:MM:SS:FF, got '01:60:00:00'"),
        ("24:00:00:00", FILM, "hours run from 00 to 23, got 24:00:00:00"),
        (
            "01:00:00:24",
            FILM,
            "frames run from 00 to 23 at 24000/1001, got 01:00:00:24",
        ),
        (
            "01:00:00;00",
            FILM,
            'drop-frame (";") exists at 30000/1001 and 60000/1001 only, '
            "the rate is 24000/1001",
        ),
        (
            "00:01:00;01",
            NTSC,
            "00:01:00;01 is left out in drop-frame; the next label is ;02",
        ),
        (
            "00:01:00:01",
            Fraction(25, 2),
            "needs a whole rate or 1000/1001 of one, the rate is 25/2 frames a second",
        ),
    ],
)
def test_labels_that_do_not_exist_are_refused(
    text: str, rate: Fraction, message: str
) -> None:
    with pytest.raises(ValueError, match=r".") as caught:
        frame_of_label(text, rate)
    assert str(caught.value) == message
