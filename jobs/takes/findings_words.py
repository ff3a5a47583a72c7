"""A finding in one plain sentence: what was found, between which shots, what to do."""

from collections.abc import Callable, Mapping

from ...solver.cuts.findings import Finding
from .covered_words import OF_ACTIONS

Numbers = Mapping[str, float | str]


def sentence(finding: Finding, shot: str) -> str:
    """Return a finding of a shot, or of the cut into it, as one sentence.

    Args:
        finding: as found.
        shot: name of the shot it stands with.
    """
    return _SENTENCES[finding.name](finding.numbers, shot)


def _percent(share: float | str) -> str:
    """Return a share without rounding a flaw away: 99.96 % is never 100 %."""
    percent = 100 * float(share)
    text = f"{percent:.1f}".removesuffix(".0")
    if text == "100" and percent < 100:
        return "over 99.9 %"
    return f"{'under 0.1' if text == '0' and percent > 0 else text} %"


def _side(degrees: float | str) -> str:
    angle = float(degrees)
    return f"{abs(angle):.0f} deg {'left' if angle >= 0 else 'right'}"


def _line(numbers: Numbers) -> str:
    """Return whose line of action it is."""
    names = str(numbers["subject"]).split("|")
    if len(names) == 2:
        return f"the line from {names[0]} to {names[1]}"
    kinds = {"facing": "gaze", "travel": "travel", "last_travel": "last travel"}
    return f"the {kinds.get(str(numbers['line']), 'line of action')} of {names[0]}"


def _sides(numbers: Numbers, shot: str) -> str:
    return (
        f"{_side(numbers['from_deg'])} of {_line(numbers)} at the end of "
        f"{numbers['against']} and {_side(numbers['to_deg'])} at the start of {shot}"
    )


def _crosses_line(n: Numbers, shot: str) -> str:
    return (
        f"The camera crosses the line: it stands {_sides(n, shot)}; put {shot} on the "
        "other side, or cut in a shot along the line."
    )


def _near_axis(n: Numbers, shot: str) -> str:
    return (
        f"The camera changes sides close to the line: it stands {_sides(n, shot)}; "
        "nothing needs to change if the direction still reads."
    )


def _screen_direction(n: Numbers, shot: str) -> str:
    if "from_m_s" in n:
        way = "right" if float(n["to_m_s"]) > 0 else "left"
        return (
            f"{n['subject']} turns round on the screen between {n['against']} and "
            f"{shot} and now moves {way} at {abs(float(n['to_m_s'])):.1f} m/s; show "
            f"the turn, or put {shot} on the other side."
        )
    return (
        f"The line of action itself turned round since {n['against']}: the camera "
        f"stands {_sides(n, shot)}; show the turn if the new direction confuses."
    )


def _crosses_in_shot(n: Numbers, shot: str) -> str:
    return (
        f"The camera changes sides in view during {shot}, from {_side(n['from_deg'])} "
        f"to {_side(n['to_deg'])} of {_line(n)}; later shots are held to the new side."
    )


def _turn(n: Numbers, shot: str) -> str:
    return (
        f"{float(n['turn_deg']):.0f} deg round {n['subject']} between "
        f"{n['against']} and {shot}"
    )


def _sizes(n: Numbers) -> str:
    if n["from_size"] == n["to_size"]:
        return f"both {n['to_size']}"
    return f"{n['from_size']} to {n['to_size']}"


def _under_30_degrees(n: Numbers, shot: str) -> str:
    return (
        f"The camera turns only {_turn(n, shot)} ({_sizes(n)}); turn it by 30 deg or "
        "more, or change the size by two steps."
    )


def _adds_nothing(n: Numbers, shot: str) -> str:
    return (
        f"The cut brings nothing new: nobody comes or goes, and the camera turns "
        f"{_turn(n, shot)}, {_sizes(n)}; give {shot} another size or angle, or leave "
        "the cut out."
    )


def _same_side(n: Numbers, shot: str) -> str:
    return (
        f"{n['subject']} goes out by the {n['side']} in {n['against']} and comes in by "
        f"the {n['side']} in {shot}, as if turned round; change one of the sides, or "
        "show the turn."
    )


def _size_unchanged(n: Numbers, shot: str) -> str:
    return (
        f"The camera turns {_turn(n, shot)} and the size stays as it was; change the "
        "size, or turn by 45 deg or more."
    )


def _size_jump(n: Numbers, shot: str) -> str:
    return (
        f"The size jumps by {float(n['size_steps']):.0f} steps ({_sizes(n)}) between "
        f"{n['against']} and {shot}; cut in a size between them if it jolts."
    )


def _unmatched_reverses(n: Numbers, shot: str) -> str:
    return (
        f"{n['against']} and {shot} answer each other on different terms: "
        f"{float(n['from_lens_mm']):g} mm at {float(n['from_height_m']):.2f} m against "
        f"{float(n['to_lens_mm']):g} mm at {float(n['to_height_m']):.2f} m; give both "
        "the same lens and height."
    )


def _eye_jump(n: Numbers, shot: str) -> str:
    return (
        f"The eye jumps {float(n['half_frames']):.1f} half frames at the cut from "
        f"{n['against']} to {shot} (u {float(n['from_u']):.2f} to "
        f"{float(n['to_u']):.2f}); place the subject of {shot} nearer to where the "
        "last one was."
    )


def _subject_moved(n: Numbers, shot: str) -> str:
    return (
        f"{n['subject']} stands {float(n['moved_m']):.2f} m elsewhere at the start of "
        f"{shot} than at the end of {n['against']}, where its speed explains "
        f"{float(n['explained_m']):.2f} m; match the action, or say that time has "
        'elapsed (cut = "elapsed").'
    )


def _lens_run(n: Numbers, shot: str) -> str:
    return (
        f"{shot} is the third shot in a row on the {float(n['lens_mm']):g} mm lens; "
        "change one if the sequence looks alike."
    )


def _share(name: str, words: str) -> Callable[[Numbers, str], str]:
    """Return the sentence of a share; `words` has {share} and {shot}."""

    def said(numbers: Numbers, shot: str) -> str:
        return words.format(share=_percent(numbers[name]), shot=shot)

    return said


def _close_to_lens(n: Numbers, shot: str) -> str:
    return (
        f"In {shot} somebody comes as near as {float(n['closest_m']):.2f} m to the "
        "lens; move the rig away from the path."
    )


def _size_out_of_reach(n: Numbers, shot: str) -> str:
    return (
        f"The size asked in {shot} needs {float(n['asked_m']):.1f} m with this lens, "
        f"the camera is {float(n['nearest_m']):.1f} to {float(n['furthest_m']):.1f} m "
        "from the subject; change the lens, the size or the rig."
    )


def _rig_off_floor(n: Numbers, shot: str) -> str:
    return (
        f"The rig of {shot} stands up to {float(n['rig_off_floor_m']):.2f} m off the "
        "floor; move it, or widen the floor."
    )


def _rig_off_height(n: Numbers, shot: str) -> str:
    return (
        f"The lens of {shot} is {float(n['rig_off_height_m']):.2f} m outside the "
        "heights of the stage; change the height of the rig."
    )


def _rig_leaves_floor(n: Numbers, shot: str) -> str:
    return (
        f"The floor of the set leaves the rail of {shot} by "
        f"{float(n['rig_step_m']):.2f} m, more than is wedged; lay it where the floor "
        "is even, or give its ends the rise of the ramp."
    )


def _rig_in_keep_out(n: Numbers, shot: str) -> str:
    return (
        f"The rig of {shot} runs through {n['keep_out']}; move the rig, or what is "
        "in its way."
    )


def _sight_forbidden(n: Numbers, shot: str) -> str:
    return (
        f"In {shot} the camera looks at the subject through {n['keep_out']}, which "
        "the stage forbids; move the rig."
    )


def _hidden_behind(n: Numbers, shot: str) -> str:
    return (
        f"In {shot} {n['hidden_by']} hides the subject for {_percent(n['hidden'])} of "
        "the cut; move the rig if the face matters there."
    )


def _refused_plans(n: Numbers, shot: str) -> str:
    count = int(float(n["refused_plans"]))
    times = "once" if count == 1 else f"{count} times"
    return (
        f"In {shot} the crew {times} had no move within its limits and went on with "
        "the one before; see whether the framing holds there."
    )


def _whip_used(n: Numbers, shot: str) -> str:
    return (
        f"{shot} uses whip limits for {int(float(n['whip_plans']))} moves; take "
        'how = "whip" off the cue if the pan is too fast.'
    )


def _strobing(n: Numbers, shot: str) -> str:
    return (
        f"{shot} pans at up to {float(n['strobing_deg_s']):.0f} deg/s while the "
        f"subject is not in the picture, over {float(n['limit_deg_s']):.0f} deg/s the "
        "background may strobe; slow the pan or follow the subject."
    )


def _lock_broken(n: Numbers, shot: str) -> str:
    parts = [
        f"{name.replace('_', ' ')} {_percent(value)} of the time and "
        f"{_percent(n[f'{name}_locked'])} when it was locked"
        for name, value in n.items()
        if not name.endswith("_locked")
    ]
    return (
        f"The locked take of {shot} no longer holds the action: {', '.join(parts)}; "
        "take off the lock, or the change of the action."
    )


def _unseen_frames(numbers: Numbers, shot: str) -> str:
    first, last = int(numbers["first"]), int(numbers["last"])
    frames = f"frame {first}" if first == last else f"frames {first}-{last}"
    return (
        f"The data of {numbers['subject']} has no {frames} of {shot}, so nobody sees "
        "the subject then; extend its animation, or shorten cut and handles."
    )


def _intent_missed(numbers: Numbers, shot: str) -> str:
    frames = f" (missed in {numbers['missed']})" if numbers["missed"] else ""
    return (
        f'{shot} does not tell "{numbers["claim"]}": {numbers["done"]}{frames}; change '
        "the setup or its framing, or the claim."
    )


def _accepts_nothing(numbers: Numbers, shot: str) -> str:
    return (
        f"{shot} accepts {numbers['accepted']}, which it does not have; take the entry "
        "out of the job."
    )


_SENTENCES: dict[str, Callable[[Numbers, str], str]] = {
    "crosses_line": _crosses_line,
    "near_axis": _near_axis,
    "screen_direction": _screen_direction,
    "crosses_in_shot": _crosses_in_shot,
    "under_30_degrees": _under_30_degrees,
    "adds_nothing": _adds_nothing,
    "same_side": _same_side,
    "size_unchanged": _size_unchanged,
    "size_jump": _size_jump,
    "unmatched_reverses": _unmatched_reverses,
    "eye_jump": _eye_jump,
    "subject_moved": _subject_moved,
    "lens_run": _lens_run,
    "subject_lost": _share(
        "in_frame",
        "In {shot} the subject is in frame for {share} of the time it can be seen; "
        "give a wider size, a longer distance or a quicker crew.",
    ),
    "head_cut": _share(
        "head_in_frame",
        "In {shot} the whole head is in the picture for {share} of the time it can be "
        "seen; give more headroom, a wider size or a quicker crew.",
    ),
    "let_go": _share(
        "others_in_frame",
        "In {shot} all others who must be held have their heads in the picture for "
        "{share} of the time; stand further off, or let them go.",
    ),
    "size_out_of_reach": _size_out_of_reach,
    "rig_off_floor": _rig_off_floor,
    "rig_off_height": _rig_off_height,
    "rig_leaves_floor": _rig_leaves_floor,
    "rig_in_keep_out": _rig_in_keep_out,
    "sight_forbidden": _sight_forbidden,
    "hidden_behind": _hidden_behind,
    "out_of_safe": _share(
        "in_safe",
        "In {shot} the subject is in the action-safe area for {share} of the time; "
        "give it more room where it moves fast.",
    ),
    "size_not_kept": _share(
        "size_kept",
        "{shot} keeps the asked size within 25 % for {share} of the time; use a "
        "longer lens from further off, or a dolly.",
    ),
    "angle_not_kept": _share(
        "angle_kept",
        "{shot} keeps the asked angle to the eye line for {share} of the time; change "
        "the height of the lens.",
    ),
    "soft_focus": _share(
        "soft",
        "The subject of {shot} is soft for {share} of the time; stop down, or give "
        "the puller marks.",
    ),
    "subject_hidden": _share(
        "seen",
        "The subject of {shot} is to be seen for {share} of the cut; trim the rest "
        "if it matters.",
    ),
    "limit_reached": _share(
        "pan_speed_used",
        "{shot} uses {share} of the operator's pan speed; raise the limit or stand "
        "further off if the subject gets away.",
    ),
    "close_to_lens": _close_to_lens,
    "refused_plans": _refused_plans,
    "whip_used": _whip_used,
    "strobing": _strobing,
    "intent_missed": _intent_missed,
    "lock_broken": _lock_broken,
    "unseen_frames": _unseen_frames,
    "accepts_nothing": _accepts_nothing,
    **OF_ACTIONS,
}
