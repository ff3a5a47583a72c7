"""The setup in a row of the sequence's table, as a value, and its label beside it."""

import json

from ..job.quantities import CHOOSE
from ..job.setup import SetupSpec


def setup_in_row(text: str) -> SetupSpec | None:
    """Return the setup that a row was solved with, or was to be.

    Args:
        text: as the row has it, JSON with the label beside the setup's fields.

    Returns:
        The setup; None where the row still leaves some of it to choose.

    Raises:
        ValueError: it is none.
    """
    values = json.loads(text)
    values.pop("label", None)
    rig = values.get("rig") or {}
    if CHOOSE in (rig.get("kind"), *values.values()):
        return None
    if isinstance(values.get("size"), list):
        return None
    return SetupSpec.model_validate(values)


def label_in_row(text: str) -> str | None:
    """Return the label of a row's setup; None where the job gives it none."""
    label: str | None = json.loads(text)["label"]
    return label
