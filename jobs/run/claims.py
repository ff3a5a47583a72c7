"""From the claims of a shot in the job file to those that the solver measures."""

import numpy as np

from ...solver.action.claim import CAMERA, PERSON, VERBS, Claim, Point
from ..job.claim import ClaimSpec
from ..job.shot import ShotSpec
from ..job.world import WorldSpec


def claims_of(spec: ShotSpec, world: WorldSpec) -> tuple[Claim, ...]:
    """Return what the picture of a shot must tell, in metres with Y up.

    Args:
        spec: the shot, checked.
        world: axes and units of its scene.
    """
    return tuple(
        Claim(
            verb=claim.verb,
            who=_who(claim, spec),
            over=claim.over,
            by=claim.by,
            frames=claim.frames,
            given=claim.given,
            must=claim.must,
            weight=claim.weight,
            box=_box(claim, spec, world),
        )
        for claim in spec.claims
    )


def _who(claim: ClaimSpec, spec: ShotSpec) -> tuple[str, ...]:
    """Return whom a claim is about; without a name who is followed, or everybody."""
    about = VERBS[claim.verb].about
    if claim.named or about == CAMERA:
        return claim.named
    if about == PERSON:
        return (spec.followed,)
    return tuple(subject.name for subject in spec.subjects)


def _box(
    claim: ClaimSpec, spec: ShotSpec, world: WorldSpec
) -> tuple[Point, Point] | None:
    """Return the corners of the place that a claim names; None for other verbs."""
    if claim.shows is None:
        return None
    boxes = {one.name: (one.from_, one.to) for one in spec.stage.keep_outs}
    for prop in spec.stage.props:
        low, high = prop.from_ or prop.at, prop.to or prop.at
        assert low is not None
        assert high is not None
        boxes[prop.name] = low, high
    (x, y, z), (to_x, to_y, to_z) = world.inside(np.array(boxes[claim.shows])).tolist()
    return (x, y, z), (to_x, to_y, to_z)
