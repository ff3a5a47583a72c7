"""What to change in a job, by the name of what was found."""

_ADVICE = {
    "subject_lost": "give the crew a shorter reaction_s or a sharper preset, a wider "
    "lens_mm, or lead_room",
    "out_of_safe": "give lead_room, or a wider lens_mm",
    "size_not_kept": "lengthen the rig, or set hold = \u201csize\u201d",
    "angle_not_kept": "change height, or framing.angle",
    "soft_focus": "set puller.method = \u201cmarks\u201d, a smaller aperture (higher "
    "camera.stop), or more distance",
    "subject_hidden": "look whether the subject is meant to be hidden there",
    "close_to_lens": "move the rig away from the path of the subject",
    "limit_reached": "move the rig away from the subject, or use a sharper preset",
    "refused_plans": "lengthen the rig, or raise the limits of the crew",
    "strobing": "slow the pan: stand farther away, or let the dolly follow",
    "crosses_line": "set side, or put the rig on the other side of the line of action",
    "crosses_in_shot": "look whether the crossing is meant",
    "near_axis": "change side or rig so that the side is plain",
    "screen_direction": "change side, or let the subject be seen to turn",
    "under_30_degrees": "move the rig round the subject, or change framing.size",
    "adds_nothing": "change lens_mm or framing.size, or move the rig round",
    "size_unchanged": "change framing.size of one of the two shots",
    "size_jump": "put a size between them, or make the change smaller",
    "eye_jump": "set framing.place nearer to where the last shot left the eye",
    "subject_moved": "check the subject\u2019s file against that of the last shot",
    "unmatched_reverses": "give both shots the same lens_mm and height",
    "lens_run": "change lens_mm in one of them",
}
_OTHERWISE = "change the rig, lens_mm or framing of the shot"
_NAMES = {
    "under_30_degrees": "under 30 degrees",
    "crosses_line": "crosses the line of action",
    "crosses_in_shot": "crosses the line in the shot",
    "near_axis": "near the line of action",
    "out_of_safe": "out of the safe area",
    "close_to_lens": "too close to the lens",
    "limit_reached": "at the limit of the crew",
    "refused_plans": "plans refused",
    "lens_run": "one lens in a run",
    "screen_direction": "screen direction changes",
    "subject_moved": "subject moved at the cut",
    "size_not_kept": "size not kept",
    "angle_not_kept": "angle not kept",
}


def named(name: str) -> str:
    """Return the name of a finding for people."""
    return _NAMES.get(name, name.replace("_", " "))


def advice_on(name: str) -> str:
    """Return what can be changed in the job about a finding."""
    return _ADVICE.get(name, _OTHERWISE)
