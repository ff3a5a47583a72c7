"""At which frame of a take a finding is best seen."""

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.crew.operator import SAFE
from .rows import FindingRow
from .shown import Shown


def moment_of(finding: FindingRow, shown: Shown) -> int:
    """Return the row of the frame at which a finding is best seen.

    Of a cut it is the first frame, of what only a measure tells the widest drift.
    """
    if finding.of_cut:
        return 0
    measure = _MEASURES.get(finding.name, _drift)
    values = measure(shown)
    known = np.where(np.isfinite(values), values, -np.inf)
    return int(known.argmax())


def worst_row(shown: Shown, findings: tuple[FindingRow, ...]) -> int:
    """Return the row of the frame that shows a take at its worst.

    That is where its worst finding is seen, or else its widest drift.

    Args:
        shown: the take.
        findings: of it and of the cut into it, the worst first.
    """
    for finding in findings:
        if not (finding.accepted or finding.of_cut):
            return moment_of(finding, shown)
    values = _drift(shown)
    return int(np.where(np.isfinite(values), values, -np.inf).argmax())


def _drift(shown: Shown) -> FloatArray:
    """Return how far the followed point is from where it is asked for, (n,)."""
    drift: FloatArray = np.hypot(*(shown.place - shown.asked).T)
    return drift


def _outside(shown: Shown) -> FloatArray:
    out: FloatArray = np.abs(shown.place).max(axis=1)
    return out


def _past_safe(shown: Shown) -> FloatArray:
    return _outside(shown) - SAFE


def _hidden(shown: Shown) -> FloatArray:
    """Return the middle of the longest time in which the subject is hidden as 1."""
    hidden = np.isnan(shown.place[:, 0])
    marks = np.zeros(len(hidden))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], hidden, [False]])))
    if len(edges):
        starts, ends = edges[::2], edges[1::2]
        longest = int((ends - starts).argmax())
        marks[(starts[longest] + ends[longest] - 1) // 2] = 1.0
    return marks


def _size(shown: Shown) -> FloatArray:
    """Return how far the size is from its middle, as a logarithm, (n,)."""
    size = np.log(shown.column("subject_size"))
    if np.isnan(size).all():  # never to be seen
        return size
    off: FloatArray = np.abs(size - np.nanmedian(size))
    return off


def _soft(shown: Shown) -> FloatArray:
    """Return how far the eyes are outside the depth of field, (n,) [1/m]."""
    away_m = np.sqrt(((shown.eyes - shown.camera) ** 2).sum(axis=1))
    off: FloatArray = np.abs(1 / away_m - 1 / shown.column("focus_m"))
    return np.where(shown.flags("soft"), off, -1.0)


def _near(shown: Shown) -> FloatArray:
    near: FloatArray = -((shown.eyes - shown.camera) ** 2).sum(axis=1)
    return near


def _fast(shown: Shown) -> FloatArray:
    return np.abs(shown.column("pan_speed"))


_MEASURES = {
    "subject_lost": _outside,
    "head_cut": _outside,
    "hidden_behind": _hidden,
    "size_out_of_reach": _size,
    "out_of_safe": _past_safe,
    "size_not_kept": _size,
    "soft_focus": _soft,
    "subject_hidden": _hidden,
    "close_to_lens": _near,
    "limit_reached": _fast,
    "whip_used": _fast,
    "strobing": _fast,
}
