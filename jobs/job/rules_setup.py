"""What must hold between the parts of a setup, fixed or left to choose."""

from collections.abc import Iterator

from .locations import Finding, shown
from .quantities import CHOOSE
from .rig import RIGS, DollyRig
from .rig_choice import ChooseRig
from .shot import ShotSpec
from .world import WorldSpec


def lens_in_kit(shot: ShotSpec) -> Iterator[Finding]:
    """Yield a lens that is not in the kit, and a stop that no usable lens opens to."""
    camera = shot.camera
    if shot.lens_mm == CHOOSE:
        if not shot.lenses:
            widest = min(lens.widest_stop for lens in camera.kit)
            yield (
                ("camera", "stop"),
                f"f/{camera.stop:g} is wider than any lens of the kit opens "
                f"(f/{widest:g})",
            )
        return
    found = [lens for lens in camera.kit if lens.mm == shot.lens_mm]
    if not found:
        kit = ", ".join(f"{lens.mm:g}" for lens in camera.kit)
        yield ("lens_mm",), f"{shot.fixed_lens_mm:g} mm is not in the kit ({kit})"
    elif camera.lenses is not None and camera.stop < found[0].widest_stop:
        yield (
            ("camera", "stop"),
            f"f/{camera.stop:g} is wider than the {found[0].mm:g} mm lens opens "
            f"(f/{found[0].widest_stop:g})",
        )


def rig_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield a rail without length, and kinds of rig that make no sense together."""
    rig = shot.rig
    if not isinstance(rig, ChooseRig):
        yield from RIGS[rig.kind].faults(rig)
        return
    for k, kind in enumerate(rig.kinds):
        if kind in rig.kinds[:k]:
            yield ("rig", "kinds", k), f"{shown(kind)} is there twice"


def size_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield sizes to choose from in a shot that shares its setup by letter."""
    if shot.framing.open_sizes and shot.setup is not None:
        yield (
            ("framing", "size"),
            f"is left to choose, and shots of setup {shown(shot.setup)} share theirs",
        )


def view_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield a view or a side that the rig does not take, or that it lacks."""
    rig = shot.rig
    if isinstance(rig, ChooseRig):
        return
    keeps_view = isinstance(rig, DollyRig) and rig.hold == "view"
    if keeps_view and shot.view is None:
        yield ("view",), 'is required with rig.hold = "view"'
    needed = 'needs a dolly with rig.hold = "view", or a rig to choose'
    if not keeps_view and shot.view is not None:
        yield ("view",), needed
    if not keeps_view and shot.side is not None:
        yield ("side",), needed


def height_on_stage(shot: ShotSpec, world: WorldSpec) -> Iterator[Finding]:
    """Yield a fixed height at which no chosen rig may put the lens."""
    limits = shot.stage.height_m
    if not isinstance(shot.rig, ChooseRig) or limits is None:
        return
    if shot.height is None or isinstance(shot.height, str):
        return
    above_m = world.metres(shot.height - shot.stage.ground)
    low, high = limits
    if not low - 1e-9 <= above_m <= high + 1e-9:
        yield (
            ("height",),
            f"{shot.height:g} scene units are {above_m:.4g} m above the ground, "
            f"stage.height_m allows {low:g} to {high:g} m",
        )
