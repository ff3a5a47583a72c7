"""Templates as they were compiled before: a twentieth of a short solve.

They lie beside the machine code of the solver. The folder is named after the release of
the template engine; a template that was edited is compiled again.
"""

from contextlib import suppress
from importlib.metadata import version

from jinja2 import FileSystemBytecodeCache
from jinja2.bccache import Bucket

from ...solver.compiled.kernel import writable_folder


class KeptTemplates(FileSystemBytecodeCache):
    """Where compiled templates lie, by the path and the text of each."""

    def __init__(self) -> None:
        super().__init__(writable_folder(f"carrellata-pages-{version('jinja2')}"))

    def dump_bytecode(self, bucket: Bucket) -> None:
        """Keep a compiled template; where there is no room, pages come anyway."""
        with suppress(OSError):
            super().dump_bytecode(bucket)
