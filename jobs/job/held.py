"""Samples of a subject that the caller holds in memory, in place of a list."""

import hashlib
import json
from functools import cached_property
from typing import Any, ClassVar, Self

import pyarrow as pa
from pydantic import PrivateAttr

from .subject import SamplesSpec


class HeldSamples(SamplesSpec):
    """A table in memory; its digest is that of the same numbers in the job's text.

    Attributes:
        table: the columns of `SamplesSpec` that are given, as an Arrow table.
    """

    is_held: ClassVar[bool] = True
    _table: Any = PrivateAttr()

    @classmethod
    def of(cls, table: pa.Table) -> Self:
        """Return the samples that a table holds, which is not copied."""
        held = cls.model_construct(x=(), y=(), z=())
        held._table = table
        return held

    @property
    def table(self) -> pa.Table:
        """The columns."""
        return self._table

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the columns as canonical JSON, hexadecimal."""
        return hashlib.sha256(columns_json(self.columns)).hexdigest()

    @property
    def columns(self) -> dict[str, list[Any]]:
        """The columns by name, as plain lists."""
        return {
            name: self._table[name].to_pylist() for name in self._table.schema.names
        }


def columns_json(columns: dict[str, list[Any]]) -> bytes:
    """Return columns of samples as bytes: equal numbers give equal bytes."""
    return json.dumps(columns, sort_keys=True).encode()
