"""Shot lists from timelines that the library itself builds."""

import json
import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
from timelines import RATE, at, clip, gap, span, track

from carrellata.jobs.commands.cut_text import cut_tables, cut_toml
from carrellata.jobs.coverage.cutlist import CutList, read_cut, snap_rate
from carrellata.jobs.errors import InputError, JobError
from carrellata.worker.cli import main


def dissolve(before: float, after: float, rate: float = RATE) -> Any:
    return otio.schema.Transition(
        transition_type=otio.schema.TransitionTypes.SMPTE_Dissolve,
        in_offset=at(before, rate),
        out_offset=at(after, rate),
    )


def saved(folder: Path, *tracks: Any, name: str = "ferry_dash") -> Path:
    timeline = otio.schema.Timeline(name=name)
    timeline.tracks.extend(list(tracks))
    path = folder / "cut.otio"
    otio.adapters.write_to_file(timeline, str(path))
    return path


def cut_of(folder: Path, *tracks: Any, **asked: Any) -> CutList:
    return read_cut(saved(folder, *tracks), **asked)


def shots(cut: CutList) -> list[tuple[str, tuple[int, int], tuple[int, int], int]]:
    return [(one.name, one.frames, one.handles, one.record) for one in cut.shots]


def refused(folder: Path, *tracks: Any) -> str:
    with pytest.raises(JobError) as caught:
        cut_of(folder, *tracks)
    return str(caught.value)


def test_clips_give_names_ranges_handles_and_record_frames(tmp_path) -> None:
    cut = cut_of(
        tmp_path,
        track(
            clip("010", 1009, 72, media=(1001, 100)),
            clip("020", 1005, 48),
            clip("030", 1002, 24, media=(1001, 28)),
        ),
    )
    assert cut.rate == 24
    assert cut.name == "ferry_dash"
    assert shots(cut) == [
        ("010", (1009, 1080), (8, 8), 0),
        ("020", (1005, 1052), (8, 8), 72),
        # The media ends one frame before, and three after it.
        ("030", (1002, 1025), (1, 3), 120),
    ]


def test_wanted_handles_are_cut_to_what_the_media_has(tmp_path) -> None:
    one = track(clip("010", 1009, 72, media=(1001, 100)))
    assert cut_of(tmp_path, one, handles=12).shots[0].handles == (8, 12)
    assert cut_of(tmp_path, one.deepcopy(), handles=0).shots[0].handles == (0, 0)


def test_a_dissolve_lengthens_the_handles_of_both_clips(tmp_path) -> None:
    cut = cut_of(
        tmp_path,
        track(
            clip("010", 1009, 72, media=(1001, 100)),
            dissolve(4, 6),
            clip("020", 1001, 120, media=(990, 140)),
        ),
        handles=2,
    )
    # Half of it plays before the cut, on the head of the incoming clip; the rest
    # after it, on the tail of the outgoing one.
    assert [one.handles for one in cut.shots] == [(2, 6), (4, 2)]
    assert [one.frames for one in cut.shots] == [(1009, 1080), (1001, 1120)]
    whole = otio.adapters.read_from_file(str(tmp_path / "cut.otio")).tracks[0]
    first, second = whole[0].visible_range(), whole[2].visible_range()
    assert first.duration.value == 72 + 6
    assert second.start_time.value == 1001 - 4


def test_a_dissolve_without_media_is_named(tmp_path) -> None:
    told = refused(
        tmp_path,
        track(
            clip("010", 1001, 72, media=(1001, 74)),
            dissolve(4, 4),
            clip("020", 1001, 24),
        ),
    )
    assert 'Clip "010": a transition needs 4 frames after it, media has 2' in told


def test_gaps_are_no_shots_and_keep_their_time(tmp_path) -> None:
    cut = cut_of(
        tmp_path,
        track(gap(24), clip("010", 1001, 48), gap(12), clip("020", 1001, 24)),
    )
    assert [(one.name, one.record) for one in cut.shots] == [("010", 24), ("020", 84)]


def test_an_upper_track_covers_a_lower_one(tmp_path) -> None:
    lower = track(clip("010", 1001, 100), clip("020", 1001, 50))
    upper = track(gap(30), clip("015", 2001, 40), gap(200))
    cut = cut_of(tmp_path, lower, upper)
    assert shots(cut) == [
        ("010", (1001, 1030), (8, 8), 0),
        ("015", (2001, 2040), (8, 8), 30),
        ("010_2", (1071, 1100), (8, 8), 70),
        ("020", (1001, 1050), (8, 8), 100),
    ]
    assert cut.notes == ('"010" is cut again, as "010_2"',)


def test_what_is_seen_is_what_the_library_flattens_to(tmp_path) -> None:
    lower = track(clip("a", 1001, 90), gap(20), clip("b", 1001, 60))
    middle = track(gap(100), clip("c", 1001, 30))
    upper = track(gap(10), clip("d", 1001, 15), gap(55), clip("e", 1001, 40))
    cut = cut_of(tmp_path, lower, middle, upper)
    timeline = otio.adapters.read_from_file(str(tmp_path / "cut.otio"))
    flat = otio.algorithms.flatten_stack(timeline.tracks)
    theirs = [
        (
            each.name,
            round(each.trimmed_range().start_time.value),
            round(each.trimmed_range().duration.value),
            round(flat.range_of_child(each).start_time.value),
        )
        for each in flat.find_clips()
    ]
    ours = [
        (one.clip, one.frames[0], one.frames[1] - one.frames[0] + 1, one.record)
        for one in cut.shots
    ]
    assert ours == theirs
    assert len(ours) >= 6


def test_a_nested_sequence_shows_through_its_trim(tmp_path) -> None:
    inner = otio.schema.Stack(name="scene 2", source_range=span(10, 60))
    inner.append(track(clip("110", 1001, 40), clip("120", 1001, 40)))
    cut = cut_of(tmp_path, track(clip("010", 1001, 24), inner, clip("020", 1001, 24)))
    assert shots(cut) == [
        ("010", (1001, 1024), (8, 8), 0),
        ("110", (1011, 1040), (8, 8), 24),
        ("120", (1001, 1030), (8, 8), 54),
        ("020", (1001, 1024), (8, 8), 84),
    ]


def test_nested_tracks_in_nested_stacks_are_followed(tmp_path) -> None:
    deepest = track(clip("x", 100, 20), clip("y", 200, 20))
    deepest.source_range = span(5, 30)
    middle = otio.schema.Stack(name="middle")
    middle.append(track(gap(10), deepest))
    cut = cut_of(tmp_path, track(clip("a", 1, 10), middle), handles=0)
    assert shots(cut) == [
        ("a", (1, 10), (0, 0), 0),
        ("x", (105, 119), (0, 0), 20),
        ("y", (200, 214), (0, 0), 35),
    ]


def test_a_dissolve_of_a_nested_sequence_reaches_its_outer_clips(tmp_path) -> None:
    inner = otio.schema.Stack(name="inner")
    inner.append(track(clip("x", 100, 20), clip("y", 200, 20)))
    cut = cut_of(tmp_path, track(inner, dissolve(3, 5), clip("z", 300, 20)), handles=0)
    assert [one.handles for one in cut.shots] == [(0, 0), (0, 5), (3, 0)]


def test_sound_and_disabled_items_are_no_shots(tmp_path) -> None:
    off = clip("off", 1001, 24)
    off.enabled = False
    cut = cut_of(
        tmp_path,
        track(off, clip("010", 1001, 24)),
        track(clip("music", 0, 500), kind="Audio"),
    )
    assert [(one.name, one.record) for one in cut.shots] == [("010", 24)]


def test_generated_pictures_are_left_out_and_told_of(tmp_path) -> None:
    slate = otio.schema.Clip(
        name="slate",
        media_reference=otio.schema.GeneratorReference(generator_kind="black"),
        source_range=span(0, 12),
    )
    cut = cut_of(tmp_path, track(slate, clip("010", 1001, 24)))
    assert [one.record for one in cut.shots] == [12]
    assert cut.notes == ('"slate" is a generated picture, left out',)


@pytest.mark.parametrize(
    ("effect", "told"),
    [
        (
            otio.schema.LinearTimeWarp(time_scalar=2.0),
            "retimed to 2 of its speed (LinearTimeWarp)",
        ),
        (otio.schema.FreezeFrame(), "retimed to 0 of its speed (FreezeFrame)"),
        (otio.schema.TimeEffect(), "retimed (TimeEffect)"),
    ],
)
def test_a_retime_is_refused_by_name(tmp_path, effect, told) -> None:
    fast = clip("020", 1001, 24)
    fast.effects.append(effect)
    assert f'Clip "020": is {told}' in refused(
        tmp_path, track(clip("010", 1001, 24), fast)
    )
    nested = otio.schema.Stack(name="scene 2")
    nested.append(track(clip("110", 1001, 40)))
    nested.effects.append(effect.deepcopy())
    assert f'Stack "scene 2": is {told}' in refused(tmp_path, track(nested))


def test_other_effects_and_a_speed_of_one_are_no_retime(tmp_path) -> None:
    plain = clip("010", 1001, 24)
    plain.effects.append(otio.schema.LinearTimeWarp(time_scalar=1.0))
    plain.effects.append(otio.schema.Effect(effect_name="blur"))
    assert len(cut_of(tmp_path, track(plain)).shots) == 1


@pytest.mark.parametrize(
    ("decimal", "exact"),
    [
        (24.0, "24"),
        (24000 / 1001, "24000/1001"),
        (23.976, "24000/1001"),
        (29.97, "30000/1001"),
        (59.94, "60000/1001"),
        (60.0, "60"),
    ],
)
def test_rates_are_snapped_to_what_they_stand_for(tmp_path, decimal, exact) -> None:
    assert snap_rate(decimal) == Fraction(exact)
    cut = cut_of(tmp_path, track(clip("010", 1001, 24, rate=decimal)))
    assert cut.rate == Fraction(exact)
    assert cut_tables(cut)["rate"] == exact


@pytest.mark.parametrize("rate", [23.98, 24.5, 17.0, 1000.0])
def test_a_rate_that_stands_for_none_is_refused_by_name(tmp_path, rate) -> None:
    told = refused(tmp_path, track(clip("010", 1001, 24, rate=rate)))
    assert f'Clip "010": {rate:g} frames a second is not a known rate' in told


def test_clips_of_two_rates_are_refused_by_name(tmp_path) -> None:
    told = refused(
        tmp_path, track(clip("010", 1001, 24), clip("020", 1001, 24, rate=25.0))
    )
    assert 'Clip "020": is at 25 frames a second, the timeline at 24' in told


def test_parts_of_frames_are_refused_by_name(tmp_path) -> None:
    assert 'Clip "010": 1001.5 is not a whole frame' in refused(
        tmp_path, track(clip("010", 1001.5, 24))
    )


def test_every_fault_is_named_at_once(tmp_path) -> None:
    fast = clip("020", 1001, 24)
    fast.effects.append(otio.schema.LinearTimeWarp(time_scalar=0.5))
    bare = otio.schema.Clip(name="030")
    told = refused(tmp_path, track(clip("no name!", 1, 2), fast, bare))
    assert len(told.splitlines()) >= 3
    for name in ("no name!", "020", "030"):
        assert f'Clip "{name}"' in told


def test_shots_can_be_numbered(tmp_path) -> None:
    cut = cut_of(
        tmp_path,
        track(clip("no name!", 1, 2), clip("b", 1, 2), clip("b", 1, 2)),
        number=True,
    )
    assert [(one.name, one.clip) for one in cut.shots] == [
        ("010", "no name!"),
        ("020", "b"),
        ("030", "b"),
    ]


def test_names_stay_apart_whatever_the_clips_are_called(tmp_path) -> None:
    cut = cut_of(
        tmp_path,
        track(*(clip(name, 1, 2) for name in ("a", "a_2", "A", "a", "a_2"))),
    )
    names = [one.name.lower() for one in cut.shots]
    assert len(set(names)) == 5


def test_timecode_is_of_the_first_frame_of_the_cut(tmp_path) -> None:
    path = saved(tmp_path, track(gap(12), clip("010", 1001, 24)))
    timeline = otio.adapters.read_from_file(str(path))
    timeline.global_start_time = otio.opentime.from_timecode("01:00:00:00", 24)
    otio.adapters.write_to_file(timeline, str(path))
    assert read_cut(path).timecode == "01:00:00:12"


def test_toml_holds_what_the_tables_hold(tmp_path) -> None:
    path = saved(
        tmp_path,
        track(clip('q"\\\x7f\U0001f3ac', 1009, 72), clip("020", 1001, 24)),
        name="not a name",
    )
    cut = read_cut(path, number=True)
    tables = cut_tables(cut)
    assert tomllib.loads(cut_toml(cut)) == tables
    assert "sequence" not in tables
    assert tables["shots"][1] == {
        "name": "020",
        "frames": [1001, 1024],
        "handles": [8, 8],
    }


@pytest.mark.parametrize("text", ["", "{}", "[1, 2]", '{"OTIO_SCHEMA": "Clip.1"}'])
def test_what_is_no_timeline_is_refused(tmp_path, text) -> None:
    path = tmp_path / "cut.otio"
    path.write_text(text)
    with pytest.raises(InputError, match=r"is not a timeline|must hold a Timeline"):
        read_cut(path)
    with pytest.raises(InputError, match="no such file"):
        read_cut(tmp_path / "none.otio")
    (tmp_path / "cut.txt").write_text("x")
    with pytest.raises(InputError, match="is not a timeline"):
        read_cut(tmp_path / "cut.txt")


def test_a_timeline_without_clips_is_refused(tmp_path) -> None:
    assert "holds no clip that is seen" in refused(tmp_path, track(gap(24)))
    assert "holds no clip that is seen" in refused(tmp_path)


def test_the_command_prints_or_writes_the_list(tmp_path, capsys) -> None:
    path = saved(tmp_path, track(clip("010", 1009, 72), clip("010", 1, 24)))
    assert main(["cut", str(path), "--handles", "4"]) == 0
    said = capsys.readouterr()
    assert tomllib.loads(said.out)["shots"][0]["handles"] == [4, 4]
    assert 'note: "010" is cut again, as "010_2"' in said.err
    assert main(["cut", str(path), "-o", str(tmp_path / "job.toml"), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["cut"][1] == {"name": "010_2", "record": 72, "clip": "010"}
    written = tomllib.loads((tmp_path / "job.toml").read_text())
    assert written["shots"] == printed["shots"]
    assert main(["cut", str(tmp_path / "none.otio")]) == 2
