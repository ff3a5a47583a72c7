"""What shots inherit, and where a fault in an inherited field is said to be."""

import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.rig import SticksRig, TrackRig
from carrellata.jobs.job.rig_choice import ChooseRig


def test_a_scene_overrides_the_defaults_and_a_shot_its_scene() -> None:
    job = parse_job(
        a_job(
            a_shot(name="010", scene="hall", framing={"headroom": 0.05}),
            a_shot(name="020", scene="hall"),
            a_shot(name="030"),
            defaults={"framing": {"size": "full", "headroom": 0.1, "lead_room": 0.2}},
            scenes={"hall": {"framing": {"headroom": 0.07, "size": "close"}}},
        )
    )
    framings = [shot.framing for shot in job.shots]
    assert [framing.headroom for framing in framings] == [0.05, 0.07, 0.1]
    assert [framing.size for framing in framings] == ["close", "close", "full"]
    assert [framing.lead_room for framing in framings] == [0.2, 0.2, 0.2]


def test_the_crew_and_camera_of_the_file_reach_every_shot_field_by_field() -> None:
    job = parse_job(
        a_job(
            a_shot(crew={"operator": {"rest_s": 0.5}}, camera={"stop": 4}),
            a_shot(name="020"),
            crew={"preset": "sharp", "operator": {"rest_s": 0.2, "reaction_s": 0.3}},
        )
    )
    crews = [shot.crew for shot in job.shots]
    assert [crew.preset for crew in crews] == ["sharp", "sharp"]
    assert [crew.operator.rest_s for crew in crews] == [0.5, 0.2]
    assert [crew.operator.reaction_s for crew in crews] == [0.3, 0.3]
    assert [shot.camera.stop for shot in job.shots] == [4, 2.8]


def test_a_defaults_scene_is_the_scene_of_shots_without_one() -> None:
    job = a_job(defaults={"scene": "deck", "framing": {"size": "full"}})
    job["scenes"] = {"deck": {"roll_deg": 3}}
    shot = parse_job(job).shots[0]
    assert (shot.scene, shot.roll_deg) == ("deck", 3)


def test_lists_are_replaced_whole() -> None:
    cues = [{"frame": 1010, "size": "close"}, {"frame": 1020, "size": "full"}]
    job = a_job(a_shot(cues=[{"frame": 1030, "fill": 2}]))
    job["defaults"]["cues"] = cues
    assert [cue.frame for cue in parse_job(job).shots[0].cues] == [1030]


def test_a_rig_of_another_kind_replaces_the_inherited_rig() -> None:
    shot = a_shot(rig={"kind": "sticks", "at": [1, 2, 3]})
    other = a_shot(name="020", rig={"to": [9, 9, 9]})
    job = a_job(shot, other)
    job["defaults"]["rig"] = {"kind": "track", "from": [0, 0, 0], "to": [1, 0, 0]}
    rigs = [shot.rig for shot in parse_job(job).shots]
    assert isinstance(rigs[0], SticksRig)
    assert isinstance(rigs[1], TrackRig)
    assert (rigs[1].from_, rigs[1].to) == ((0, 0, 0), (9, 9, 9))


def test_the_other_way_to_say_a_field_replaces_the_inherited_one() -> None:
    camera = {"width_mm": 36, "height_mm": 24, "lenses": [{"mm": 50}]}
    job = a_job(a_shot(framing={"fill": 0.6}, camera=camera))
    shot = parse_job(job).shots[0]
    assert (shot.framing.size, shot.framing.fill) == (None, 0.6)
    assert shot.camera.back_mm == (36.0, 24.0)
    assert shot.camera.film_back is None


def test_null_is_no_other_way_to_say_a_field() -> None:
    shot = parse_job(a_job(a_shot(framing={"fill": None}))).shots[0]
    assert shot.framing.size == "full"


def test_a_replaced_table_is_no_longer_blamed() -> None:
    job = a_job(a_shot(shake="calm"))
    job["defaults"]["shake"] = {"level": "rough", "percent": 0.2}
    with pytest.raises(JobError, match=r"^shots\[0\]\.shake\.level: must be one of"):
        parse_job(job)


def test_both_ways_in_one_table_are_refused() -> None:
    with pytest.raises(JobError) as caught:
        parse_job(a_job(a_shot(framing={"size": "full", "fill": 0.6})))
    assert str(caught.value) == "shots[0].framing: needs either size or fill"


def test_numbers_of_shake_are_laid_over_an_inherited_level() -> None:
    job = a_job(a_shot(shake={"percent": 0.3}), a_shot(name="020", shake="rough"))
    job["defaults"]["shake"] = "shoulder"
    shakes = [shot.shake for shot in parse_job(job).shots]
    assert [(s.level, s.percent) for s in shakes] == [
        ("shoulder", 0.3),
        ("rough", None),
    ]


def test_a_fault_is_told_once_and_where_it_was_written() -> None:
    job = a_job(
        a_shot(scene="hall"),
        a_shot(name="020", scene="hall"),
        a_shot(name="030", lens_mm=18),
        camera={"film_back": "super35-4perf", "lens_kit_mm": [18, 50], "stop": 0},
        defaults={"framing": {"size": "full", "headroom": 2}},
        scenes={"hall": {"roll_deg": 99}, "unused": {"rol_deg": 1}},
    )
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert sorted(str(caught.value).splitlines()) == [
        "camera.stop: must be >= 0.5, got 0",
        "defaults.framing.headroom: must be < 0.5, got 2",
        "scenes.hall.roll_deg: must be <= 90 deg, got 99 deg",
        'scenes.unused.rol_deg: unknown field; did you mean "roll_deg"',
    ]


def test_a_missing_camera_is_told_once_for_all_shots() -> None:
    job = a_job(a_shot(), a_shot(name="020"))
    del job["camera"]
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert str(caught.value) == "camera: is required"


def test_names_and_frames_belong_to_shots() -> None:
    job = a_job(scenes={"main": {"scene": "x"}})
    job["defaults"]["name"] = "x"
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert str(caught.value).splitlines() == [
        "defaults.name: belongs in the shot itself",
        "scenes.main.scene: belongs in the shot itself",
    ]


def test_reading_a_job_leaves_its_tables_alone() -> None:
    job = a_job(a_shot(framing={"fill": 0.6}, shake={"percent": 0.3}))
    job["defaults"]["shake"] = "shoulder"
    before = repr(job)
    parse_job(job)
    assert repr(job) == before


def test_a_sequence_may_be_left_open_and_a_shot_of_it_fixed() -> None:
    job = a_job(
        a_shot(),
        a_shot(name="020", rig={"kind": "choose", "kinds": ["arc"]}, lens_mm="choose"),
        a_shot(name="030", rig={"kinds": ["sticks"]}, view="profile"),
    )
    job["defaults"] |= {
        "rig": {"kind": "choose", "hold": "size"},
        "lens_mm": "choose",
        "side": "choose",
        "view": "choose",
    }
    del job["shots"][2]["lens_mm"]
    fixed, second, third = parse_job(job).shots
    assert not fixed.is_open
    assert (second.rig.kind, second.lens_mm) == ("choose", "choose")
    assert third.open_fields == {"rig", "lens_mm", "height", "side"}
    for shot, kinds in ((second, ("arc",)), (third, ("sticks",))):
        assert isinstance(shot.rig, ChooseRig)
        assert shot.rig.kinds == kinds


def test_faults_of_an_inherited_stage_are_told_once_where_it_was_written() -> None:
    job = a_job(a_shot(), a_shot(name="020"), stage={"height_m": [2, 1]})
    job["scenes"] = {"main": {"stage": {"min_distance_m": -1}}}
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert sorted(str(caught.value).splitlines()) == [
        "scenes.main.stage.min_distance_m: must be >= 0 m, got -1 m"
    ]
    del job["scenes"]
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert str(caught.value) == (
        "stage.height_m: the highest must be >= the lowest, got 2 to 1 m"
    )
