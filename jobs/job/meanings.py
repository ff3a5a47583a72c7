"""What a word that a job does not know most likely means.

First what the trade, or another tool's file, calls the same thing; then the nearest
spelling. Either is only suggested, never taken.
"""

import difflib
import re
from collections.abc import Iterable

_LONGEST = 100  # of a word, in letters, that is looked at

_MEANT: dict[str, tuple[str, ...]] = {
    # rigs
    "track": ("dolly", "rails", "rail", "slider", "straight", "line", "tracking"),
    "sticks": ("tripod", "static", "lockedoff", "fixed", "head", "still", "hihat"),
    "arc": ("circle", "curve", "circular", "orbit", "round", "curvedtrack"),
    "choose": ("auto", "any", "free", "best", "open", "solve"),
    # sizes
    "full": ("fs", "ws", "ls", "wide", "long", "wideshot", "longshot", "fullshot"),
    "knee": ("mls", "mediumlong", "mediumfull", "threequarters"),
    "cowboy": ("american", "midthigh", "thigh", "hip"),
    "medium": ("ms", "mid", "waist", "mediumshot", "midshot"),
    "chest": ("mcu", "mediumclose", "bust", "mediumcloseup"),
    "close": ("cu", "closeup", "face", "head and shoulders"),
    "eyes": ("ecu", "xcu", "extremecloseup", "extremeclose", "bcu", "head", "eye"),
    # film backs
    "super35-4perf": ("super35", "s35", "35mm", "35", "super354perf"),
    "super35-3perf": ("3perf", "s353perf", "super353perf"),
    "full-frame": ("ff", "fullframe", "135", "36x24", "largeformat"),
    "super16": ("s16", "16"),
    "anamorphic-4perf": ("anamorphic", "scope"),
    "65mm-5perf": ("65mm", "65", "70mm"),
    "35mm-8perf": ("8perf", "horizontal"),
    # where on a body
    "floor": ("feet", "ground", "foot", "root", "toes"),
    "hips": ("pelvis", "hip", "waist", "root"),
    "head_top": ("crown", "top", "headtop"),
    # views
    "rear": ("back", "behind"),
    "three_quarter": ("34", "quarter", "threequarters"),
    "profile": ("side",),
    # shake
    "locked": ("none", "off", "no"),
    "shoulder": ("handheld", "hand", "handheldcamera"),
    # how the crew goes
    "whip": ("whippan", "snap", "flash"),
    "move": ("pan", "slow"),
    "below": ("low", "lowangle"),
    "above": ("high", "highangle"),
    "elapsed": ("timecut", "jump", "later"),
    "centre": ("center", "middle"),
    # fields
    "rate": ("fps", "framerate", "framespersecond", "timebase"),
    "lens_mm": ("lens", "focal", "focallength", "focalmm", "mm"),
    "lens_kit_mm": ("kit", "lenskit", "primes", "focals"),
    "stop": ("fstop", "aperture", "iris", "fnumber", "tstop"),
    "film_back": ("filmback", "sensor", "gate", "format", "back"),
    "shutter_deg": ("shutter", "shutterangle"),
    "coc_mm": ("coc", "circleofconfusion"),
    "frames": ("range", "framerange", "inout", "cutrange"),
    "subjects": ("characters", "actors", "targets", "people", "cast", "subject"),
    "height_m": ("stature", "tall", "bodyheight", "heightm"),
    "metres_per_unit": ("scale", "unit", "units", "metersperunit", "unitscale"),
    "up": ("upaxis", "axis"),
    "sequence": ("seq", "title", "project"),
    "handles": ("handle", "padding"),
    "size": ("shotsize", "shot", "frame", "type"),
    "file": ("path", "filename", "source", "src", "trajectory"),
    "at": ("point", "position", "where"),
    "from": ("start", "begin"),
    "to": ("end", "finish"),
    "roll_deg": ("roll", "dutch", "cant", "dutchangle"),
    "radius": ("r", "radiusm"),
    "shake": ("handheld", "noise", "wobble"),
    "purpose": ("note", "notes", "description", "comment"),
    "must_hold": ("required", "keep", "keepinframe"),
}


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return which of the known words a word means, None where none is near.

    Args:
        word: as it was written.
        known: the words that may stand there.
    """
    there = list(known)
    plain = _plain(word[:_LONGEST])
    for name in there:
        if plain and plain in _OF_NAME.get(name, ()):
            return name
    near = difflib.get_close_matches(word[:_LONGEST], there, n=1, cutoff=0.6)
    return near[0] if near else None


def hint(word: object, known: Iterable[str]) -> str:
    """Return what a sentence says of the word that was meant, "" where none is near."""
    found = nearest(word, known) if isinstance(word, str) else None
    return f'; did you mean "{found}"' if found else ""


def _plain(word: str) -> str:
    return re.sub(r"[^a-z0-9]", "", word.lower())


_OF_NAME = {
    name.strip(): frozenset(map(_plain, words)) for name, words in _MEANT.items()
}
"""Words that mean a known one, by the known one."""
