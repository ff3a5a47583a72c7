"""What stands in the way of a setup, and the least that would have to give.

`why_no_setup` is closed form: at every instant the lens is no further from the subject
than the floor's farthest corner, and no nearer than its nearest point, whatever rig it
stands on. Where that says nothing, the breaches that are left in a `Laid` are the
cheapest way out near it, and `ways_out` lets one kind of limit yield at a time.
"""

from dataclasses import dataclass
from math import degrees, exp

import numpy as np

from ..arrays import FloatArray
from .sequential import KEPT, Laid, lay
from .stage import Stage, floor_margin

# Beginnings of limits' names that yield together.
KINDS = ("size", "view", "min_distance", "floor", "keep_out", "sight", "rail")
CREW = ("pan", "dolly")


@dataclass(frozen=True, kw_only=True, slots=True)
class Relaxation:
    """One limit, and by how much it must give.

    Attributes:
        limit: its name: size, min_distance, view, pan_speed, pan_accel, dolly_speed,
            dolly_accel, rail, "floor edge K", "keep_out NAME" or "sight past NAME".
        amount: in its unit; of a size, the factor by which the distance misses.
        unit: m, deg, deg/s, deg/s2, m/s, m/s2 or "times".
    """

    limit: str
    amount: float
    unit: str

    def __str__(self) -> str:
        """Return it as part of a sentence."""
        if self.unit == "times":
            percent = 100.0 * (self.amount - 1.0)
            return f"size: {percent:.0f} % off the asked distance"
        ways = {"min_distance": "less", "keep_out": "out of the way", "sight": "aside"}
        way = ways.get(self.limit.split()[0], "more")
        return f"{self.limit}: {self.amount:.3g} {self.unit} {way}"


@dataclass(frozen=True, kw_only=True, slots=True)
class Shortfall:
    """A lens that can't be far enough from, or near enough to, a subject.

    Attributes:
        which: "closest" or "longest", of the kit for the asked size.
        focal_mm: of the lens.
        needs_m: distance that the size needs, its tolerance used up.
        gives_m: what there is at most ("closest") or at least ("longest").
        by: what gives it: floor or min_distance.
    """

    which: str
    focal_mm: float
    needs_m: float
    gives_m: float
    by: str

    @property
    def missing_m(self) -> float:
        """By how much it falls short."""
        return abs(self.needs_m - self.gives_m)

    def __str__(self) -> str:
        """Return the sentence."""
        needs = "needs" if self.which == "closest" else "can be no further than"
        return (
            f"{self.which} lens {self.focal_mm:g} mm: {needs} {self.needs_m:.1f} m, "
            f"{self.by} gives {self.gives_m:.1f} m"
        )


def why_no_setup(
    stage: Stage,
    subject: FloatArray,
    focal_mm: FloatArray,
    distance_m: FloatArray,
    size_band: float = 1.25,
) -> Shortfall | None:
    """Return the lens and floor that rule out every setup, or None if these do not.

    Args:
        stage: floor and least distance.
        subject: where it goes, (n, 2) [m].
        focal_mm: of the kit, (k,).
        distance_m: at which each gives the asked size, (k,) [m].
        size_band: factor by which the distance may miss, >= 1.
    """
    close, long = int(np.argmin(distance_m)), int(np.argmax(distance_m))
    least, most = distance_m[close] / size_band, distance_m[long] * size_band
    found = []
    nearest = 0.0
    if stage.floor is not None:
        corners = subject[:, None] - stage.floor
        farthest = np.hypot(corners[..., 0], corners[..., 1]).max(axis=1).min()
        nearest = float(np.maximum(-floor_margin(stage, subject), 0.0).max())
        if least > farthest:
            found.append(("closest", close, least, float(farthest), "floor"))
        if most < nearest:
            found.append(("longest", long, most, nearest, "floor"))
    if most < stage.min_distance_m:
        found.append(("longest", long, most, stage.min_distance_m, "min_distance"))
    if not found:
        return None
    which, lens, needs, gives, by = max(found, key=lambda row: abs(row[2] - row[3]))
    return Shortfall(
        which=which,
        focal_mm=float(focal_mm[lens]),
        needs_m=float(needs),
        gives_m=gives,
        by=by,
    )


def tightest_limit(laid: Laid) -> str | None:
    """Return the limit that costs most: in breach, else in duals; None for none."""
    prices = laid.prices
    broken = {k: prices[k] * v for k, v in laid.breaches.items() if v > KEPT}
    dear = {k: v / prices[k] for k, v in laid.duals.items() if v > KEPT}
    costs = broken or dear
    return max(costs, key=lambda name: costs[name]) if costs else None


def smallest_relaxation(laid: Laid) -> tuple[Relaxation, ...]:
    """Return what would have to give for a laying to stand, the dearest first.

    The least priced sum of breaches near the laying; nothing for a feasible one.
    """
    prices = laid.prices
    broken = [name for name, breach in laid.breaches.items() if breach > KEPT]
    broken.sort(key=lambda name: -prices[name] * laid.breaches[name])
    return tuple(_relaxation(name, laid) for name in broken)


def ways_out(laid: Laid) -> tuple[tuple[Relaxation, ...], ...]:
    """Return, for each kind of limit that alone could do it, what has to give.

    The cheapest kind first. Kinds are size, view, least distance, floor, keep-outs,
    sight, rail, and the crew's speeds and accelerations.
    """
    if laid.feasible:
        return ()
    found = []
    for kind in (*((name,) for name in KINDS), CREW):
        if not any(name.startswith(kind) for name in laid.breaches):
            continue
        tried = lay(laid.laying, laid.wish, laid.bounds, yielding=kind)
        broken = {name: v for name, v in tried.breaches.items() if v > KEPT}
        if broken and all(name.startswith(kind) for name in broken):
            found.append((tried.merit, smallest_relaxation(tried)))
    return tuple(relaxations for _, relaxations in sorted(found, key=lambda w: w[0]))


def _relaxation(name: str, laid: Laid) -> Relaxation:
    breach = laid.breaches[name]
    if name == "size":
        factor = exp(breach) * laid.wish.size_band
        return Relaxation(limit=name, amount=factor, unit="times")
    units = {
        "view": "deg",
        "pan_speed": "deg/s",
        "pan_accel": "deg/s2",
        "dolly_speed": "m/s",
        "dolly_accel": "m/s2",
    }
    unit = units.get(name, "m")
    amount = degrees(breach) if unit.startswith("deg") else breach
    return Relaxation(limit=name, amount=amount, unit=unit)
