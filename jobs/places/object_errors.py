"""What an object store answers when it does not do as asked, in plain words.

Only the name of a failure is taken from the store's own text, which may tell of
requests and accounts.
"""

import errno
import re

_NAMED = re.compile(
    r"AWS Error ([A-Z_]+)"
    r"|\b(UNAVAILABLE|DEADLINE_EXCEEDED|RESOURCE_EXHAUSTED|ABORTED|INTERNAL"
    r"|PERMISSION_DENIED|UNAUTHENTICATED|NOT_FOUND)\b"
)
_STATUS = re.compile(r"HTTP status (\d{3})")

_DENIED = "access is denied; credentials are taken from the environment"
_NO_BUCKET = "there is no such bucket"
_BUSY = "the object store asks to be spared"
_SILENT = "the object store does not answer"
_CHANGING = "the object is replaced again and again while it is read"

_WORDS = {
    "NO_SUCH_BUCKET": (errno.ENOENT, _NO_BUCKET),
    "NOT_FOUND": (errno.ENOENT, _NO_BUCKET),
    "RESOURCE_NOT_FOUND": (errno.ENOENT, _NO_BUCKET),
    "ACCESS_DENIED": (errno.EACCES, _DENIED),
    "INVALID_ACCESS_KEY_ID": (errno.EACCES, _DENIED),
    "SIGNATURE_DOES_NOT_MATCH": (errno.EACCES, _DENIED),
    "UNRECOGNIZED_CLIENT": (errno.EACCES, _DENIED),
    "MISSING_AUTHENTICATION_TOKEN": (errno.EACCES, _DENIED),
    "PERMISSION_DENIED": (errno.EACCES, _DENIED),
    "UNAUTHENTICATED": (errno.EACCES, _DENIED),
}
_TRANSIENT = {
    "NETWORK_CONNECTION": _SILENT,
    "REQUEST_TIMEOUT": _SILENT,
    "DEADLINE_EXCEEDED": _SILENT,
    "UNAVAILABLE": _SILENT,
    "SERVICE_UNAVAILABLE": _BUSY,
    "SLOW_DOWN": _BUSY,
    "THROTTLING": _BUSY,
    "RESOURCE_EXHAUSTED": _BUSY,
    "INTERNAL_FAILURE": _BUSY,
    "INTERNAL": _BUSY,
    "ABORTED": _BUSY,
}


_MISSING = ("NO_SUCH_KEY", "NOT_FOUND", "RESOURCE_NOT_FOUND")
"""What is said of an object that is missing, and by some of its bucket too."""


class Replaced(OSError):
    """An object was replaced while it was read."""


class StoreError(OSError):
    """An object store did not do as asked.

    Attributes:
        transient: whether the same may work later.
    """

    transient: bool

    def __init__(
        self, number: int, words: str, place: str, *, transient: bool = False
    ) -> None:
        """Keep what is wrong, and where, without anything secret."""
        super().__init__(number, words, place)
        self.transient = transient


def store_error(error: Exception, place: str) -> OSError:
    """Return what a failure of pyarrow's file systems means.

    Args:
        error: as it was raised.
        place: address of the object, without anything secret.
    """
    if isinstance(error, Replaced):
        return StoreError(errno.EAGAIN, _CHANGING, place, transient=True)
    text, name = str(error), _name_in(error)
    if name == "NO_SUCH_KEY":
        return FileNotFoundError(errno.ENOENT, "no such object", place)
    if name in _TRANSIENT:
        return StoreError(errno.EAGAIN, _TRANSIENT[name], place, transient=True)
    if name in _WORDS:
        return StoreError(*_WORDS[name], place)
    status = _STATUS.search(text)
    number = 0 if status is None else int(status[1])
    if number == 429 or number >= 500:
        return StoreError(errno.EAGAIN, _BUSY, place, transient=True)
    if number in (401, 403):
        return StoreError(errno.EACCES, _DENIED, place)
    said = name.lower().replace("_", " ") or type(error).__name__
    return StoreError(errno.EIO, f"the object store refused it: {said}", place)


def may_be_missing(error: Exception) -> bool:
    """Tell whether a failure may say that the object is not there, or no longer."""
    return _name_in(error) in _MISSING


def _name_in(error: Exception) -> str:
    """Return the store's own name of a failure, or nothing."""
    found = _NAMED.search(str(error))
    return "" if found is None else found[1] or found[2]
