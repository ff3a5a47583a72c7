"""What must hold between the fields of one shot, beyond each being well-formed."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from ...solver.optics.camera import FILM_BACKS
from .locations import Finding, shown
from .meanings import hint
from .rate import rate_text
from .rules_claims import claim_frames, claim_names, claims_agree, claims_possible
from .rules_setup import height_on_stage, lens_in_kit, rig_rules, size_rules, view_rules
from .rules_stage import (
    floor_rules,
    keep_out_rules,
    prop_rules,
    set_rules,
    stage_numbers,
)
from .shot import MAX_FRAMES, ShotSpec
from .subject import SCENE_SUFFIXES, SUBJECT_SUFFIXES, SubjectSpec
from .world import WorldSpec

# A band of shake reaches this share of the frame rate at most, just under half.
SHAKE_TOP_SHARE = 0.45

_BVH_FIELDS = ("units", "up", "rate", "first_sample_at")
_BVH_ONLY = ("joint", "units", "up")


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotRule:
    """A check, and the fields of the shot that it reads."""

    reads: tuple[str, ...]
    check: Callable[[ShotSpec], Iterator[Finding]]


def shot_findings(shot: ShotSpec, unusable: set[str]) -> Iterator[Finding]:
    """Yield every rule that a shot breaks.

    Args:
        shot: the shot; its unusable fields hold stand-ins.
        unusable: fields that the schema refused; rules that read them are left out.
    """
    for rule in SHOT_RULES:
        if not unusable.intersection(rule.reads):
            yield from rule.check(shot)


def world_findings(
    shot: ShotSpec, world: WorldSpec, unusable: set[str]
) -> Iterator[Finding]:
    """Yield every rule that a shot breaks in the units of this world."""
    if not unusable.intersection(("rig", "height", "stage")):
        yield from height_on_stage(shot, world)


def shake_findings(shot: ShotSpec, rate: Fraction) -> Iterator[Finding]:
    """Yield a band of shake that this frame rate cannot show."""
    band = shot.shake.band_hz
    limit = SHAKE_TOP_SHARE * float(rate)
    if band is not None and band[1] > limit:
        yield (
            ("shake", "band_hz"),
            f"the top must be <= {limit:.4g} Hz (0.45 of {rate_text(rate)} frames a "
            f"second), got {band[1]:g} Hz",
        )


def _frames(shot: ShotSpec) -> Iterator[Finding]:
    first, last = shot.frames
    if last < first:
        yield ("frames",), f"the last frame must be >= the first, got {first} to {last}"


def _length(shot: ShotSpec) -> Iterator[Finding]:
    frames = shot.n_frames + sum(shot.handles) + shot.preroll
    samples = frames * shot.samples_per_frame
    if samples > MAX_FRAMES:
        what = f"{frames} frames with handles and pre-roll"
        if shot.samples_per_frame > 1:
            what += f", {shot.samples_per_frame} samples a frame"
        yield ("frames",), f"a shot has at most {MAX_FRAMES} samples, got {what}"


def _takes(shot: ShotSpec) -> Iterator[Finding]:
    if shot.takes > 1 and shot.crew.variability == 0:
        yield (
            ("takes",),
            f"{shot.takes} takes need a crew that varies, crew.variability is 0",
        )


def _film_back(shot: ShotSpec) -> Iterator[Finding]:
    name = shot.camera.film_back
    if name is not None and name not in FILM_BACKS:
        known = ", ".join(FILM_BACKS)
        yield (
            ("camera", "film_back"),
            f"must be one of {known}, got {shown(name)}{hint(name, FILM_BACKS)}",
        )


def _kit(shot: ShotSpec) -> Iterator[Finding]:
    camera = shot.camera
    listed = "lens_kit_mm" if camera.lenses is None else "lenses"
    focals = [lens.mm for lens in camera.kit]
    for before, after in pairwise(focals):
        if before == after:
            yield ("camera", listed), f"{after:g} mm is in the kit twice"


def _subjects(shot: ShotSpec) -> Iterator[Finding]:
    seen: dict[str, str] = {}
    for k, subject in enumerate(shot.subjects):
        before = seen.setdefault(subject.name.lower(), subject.name)
        if before is not subject.name:
            message = f"{shown(subject.name)} is already the name of another subject"
            yield ("subjects", k, "name"), message
        for field, message in _source(subject):
            yield ("subjects", k, field), message
    if not any(subject.share > 0 for subject in shot.subjects):
        yield ("subjects",), "one subject must have a share above 0"


def _present(shot: ShotSpec) -> Iterator[Finding]:
    """Yield who is only present and followed all the same."""
    for k, subject in enumerate(shot.subjects):
        if not subject.present:
            continue
        if subject.share > 0:
            message = "is for who is followed, and this one is only present"
            yield ("subjects", k, "share"), message
        if subject.must_hold:
            message = "is for who is framed, and this one is only present"
            yield ("subjects", k, "must_hold"), message
    present = [subject.name for subject in shot.subjects if subject.present]
    for k, cue in enumerate(shot.cues):
        if cue.subject in present:
            message = f"{shown(cue.subject)} is only present; take that off to follow"
            yield ("cues", k, "subject"), message


def _source(subject: SubjectSpec) -> Iterator[tuple[str, str]]:
    """Yield what a subject's kind of file asks for or does not know."""
    suffix = subject.suffix
    if suffix == ".bvh":
        for field in _BVH_FIELDS:
            if getattr(subject, field) is None:
                yield field, "is required for a BVH file"
    elif suffix in SCENE_SUFFIXES:
        if subject.prim is None:
            yield "prim", "is required for an OpenUSD scene"
        if subject.first_sample_at is not None:
            yield "first_sample_at", "is not for OpenUSD scenes, their codes are frames"
    else:
        for field in _BVH_ONLY:
            if getattr(subject, field) is not None:
                yield field, "is only for BVH files and OpenUSD scenes"
    if subject.prim is not None and suffix not in SCENE_SUFFIXES:
        yield "prim", "is only for OpenUSD scenes"
    samples = subject.samples
    if samples is not None and samples.time_s and subject.first_sample_at is None:
        yield "first_sample_at", "is required for samples in time"
    known = suffix in SUBJECT_SUFFIXES
    if subject.file is not None and (not known or "\0" in subject.file):
        listed = ", ".join(SUBJECT_SUFFIXES)
        yield "file", f"must end in one of {listed}, got {shown(subject.file)}"


def _cue_frames(shot: ShotSpec) -> Iterator[Finding]:
    first, last = shot.solved_frames
    for k, cue in enumerate(shot.cues):
        if first <= last and not first <= cue.frame <= last:
            yield (
                ("cues", k, "frame"),
                f"{cue.frame} is outside the shot with its handles ({first} to {last})",
            )
        if k and cue.frame <= shot.cues[k - 1].frame:
            yield (
                ("cues", k, "frame"),
                f"cues must rise, got {cue.frame} after {shot.cues[k - 1].frame}",
            )


def _cue_subjects(shot: ShotSpec) -> Iterator[Finding]:
    names = [subject.name for subject in shot.subjects]
    for k, cue in enumerate(shot.cues):
        if cue.subject is not None and cue.subject not in names:
            listed = ", ".join(names)
            yield (
                ("cues", k, "subject"),
                f"{shown(cue.subject)} is not a subject of the shot ({listed})",
            )


def _accepted(shot: ShotSpec) -> Iterator[Finding]:
    names = [one.finding for one in shot.accept]
    for k, name in enumerate(names):
        if name in names[:k]:
            yield ("accept", k, "finding"), f"{shown(name)} is accepted already"


SHOT_RULES = (
    ShotRule(reads=("frames",), check=_frames),
    ShotRule(
        reads=("frames", "handles", "preroll", "samples_per_frame"), check=_length
    ),
    ShotRule(reads=("takes", "crew"), check=_takes),
    ShotRule(reads=("camera",), check=_film_back),
    ShotRule(reads=("camera",), check=_kit),
    ShotRule(reads=("camera", "lens_mm"), check=lens_in_kit),
    ShotRule(reads=("rig",), check=rig_rules),
    ShotRule(reads=("framing", "setup"), check=size_rules),
    ShotRule(reads=("rig", "view", "side"), check=view_rules),
    ShotRule(reads=("stage",), check=floor_rules),
    ShotRule(reads=("stage",), check=keep_out_rules),
    ShotRule(reads=("stage",), check=prop_rules),
    ShotRule(reads=("stage",), check=stage_numbers),
    ShotRule(reads=("stage",), check=set_rules),
    ShotRule(reads=("accept",), check=_accepted),
    ShotRule(reads=("subjects",), check=_subjects),
    ShotRule(reads=("subjects", "cues"), check=_present),
    ShotRule(reads=("claims", "subjects", "stage"), check=claim_names),
    ShotRule(reads=("claims", "frames"), check=claim_frames),
    ShotRule(reads=("claims", "subjects"), check=claims_agree),
    ShotRule(reads=("claims", "subjects"), check=claims_possible),
    ShotRule(reads=("cues", "frames", "handles"), check=_cue_frames),
    ShotRule(reads=("cues", "subjects"), check=_cue_subjects),
)
