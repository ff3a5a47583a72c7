"""A cut that was made elsewhere, read as pictures of the cameras of an action.

Each clip is one picture. Its camera is told by its media, else by its own name: the
name of a camera, or of its take. Its frames are those of the action, and the clips
follow one another from the action's first frame to its last.
"""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from pathlib import Path, PurePosixPath

from ...solver.coverage.given import MOST_PICTURES, GivenPicture
from ..errors import CarrellataError, Fault, InputError, JobError
from ..job.action import ActionSpec
from ..job.locations import shown
from ..job.rate import rate_text
from ..scene.read import ReadsFiles
from ..subjects import SubjectReader
from .cutlist import CutEvent, CutList, cut_of_text

MOST_BYTES = 64 * 1024 * 1024  # of the file


def given_cut(
    action: ActionSpec, rate: Fraction, folder: Path, path: str, read: SubjectReader
) -> tuple[GivenPicture, ...]:
    """Return the pictures of the cut that an action names, frames from 0.

    Stretches of one camera that go on without a break are one picture.

    Args:
        action: with a cut that names a file.
        rate: the job's frames a second.
        folder: where the job file lies.
        path: of the action in the job, `actions[0]`.
        read: of the subjects; it says which files may be read.

    Raises:
        JobError: the file is no cut of this action; each fault names file and clip.
    """
    assert action.cut is not None
    assert action.cut.file is not None
    file = action.cut.file
    try:
        data = _bytes(file, folder, f"{path}.cut", read)
        cut = cut_of_text(data.decode("utf-8-sig"), file)
    except UnicodeDecodeError as error:
        raise JobError((Fault(path=file, message="is not UTF-8 text"),)) from error
    except InputError as error:
        raise JobError(error.faults) from error
    faults = tuple(_faults(action, rate, file, cut))
    if faults:
        raise JobError(faults)
    cameras = _cameras(action)
    pictures: list[GivenPicture] = []
    for one in cut.shots:
        camera = cameras[_named(one, cameras)]
        if not pictures or pictures[-1].camera != camera:
            first = one.frames[0] - action.frames[0]
            pictures.append(GivenPicture(camera=camera, first=first))
    return tuple(pictures)


def _bytes(file: str, folder: Path, path: str, read: SubjectReader) -> bytes:
    """Return what the file holds.

    Raises:
        JobError: it cannot be read, or may not.
    """
    field = f"{path}.file"
    try:
        if isinstance(read, ReadsFiles):
            return read.file_bytes(file, folder=folder, path=path)
        place = folder / file
        if place.stat().st_size > MOST_BYTES:
            message = f"{shown(file)} exceeds {MOST_BYTES // 2**20} MB"
            raise JobError((Fault(path=field, message=message),))
        return place.read_bytes()
    except OSError as error:
        fault = Fault(path=field, message=f"{shown(file)} is not a file")
        raise JobError((fault,)) from error
    except CarrellataError as error:
        raise JobError(error.faults) from error


def _cameras(action: ActionSpec) -> dict[str, str]:
    """Return cameras by how a clip may name them, lower case."""
    takes = {action.shot_of(name).lower(): name for name in action.cameras}
    return takes | {name.lower(): name for name in action.cameras}


def _named(clip: CutEvent, cameras: Mapping[str, str]) -> str:
    """Return by which name a clip's camera is known; "" for none."""
    media = PurePosixPath(clip.media.replace("\\", "/"))
    names = (media.name, media.stem, clip.clip)
    return next((one.lower() for one in names if one.lower() in cameras), "")


def _faults(
    action: ActionSpec, rate: Fraction, file: str, cut: CutList
) -> Iterator[Fault]:
    """Yield what keeps a timeline from being a cut of an action."""
    if cut.rate != rate:
        theirs, ours = rate_text(cut.rate), rate_text(rate)
        message = f"is at {theirs} frames a second, the job at {ours}"
        yield Fault(path=file, message=message)
        return
    if len(cut.shots) > MOST_PICTURES:
        message = f"holds {len(cut.shots)} clips, at most {MOST_PICTURES} are judged"
        yield Fault(path=file, message=message)
        return
    cameras, (first, last) = _cameras(action), action.frames
    wanted, before = first, "the action begins"
    for k, one in enumerate(cut.shots):
        place = f"{file}: clip {k + 1} {shown(one.clip)}"
        a, b = one.frames
        if not _named(one, cameras):
            listed = ", ".join(action.cameras)
            message = f"{shown(one.media)} is no camera of the action ({listed})"
            yield Fault(path=place, message=message)
        if not (first <= a and b <= last):
            message = f"has frames {a} to {b}, the action has {first} to {last}"
            yield Fault(path=place, message=message)
        elif a != wanted:
            message = f"must begin at frame {wanted}, where {before}, got {a}"
            yield Fault(path=place, message=message)
        wanted, before = b + 1, "the clip before it ends"
    if wanted != last + 1:
        message = f"must end at frame {last}, with the action, got {wanted - 1}"
        yield Fault(path=file, message=message)
