"""Takes machine code from the disk without getting ready to compile.

Before the compiler looks for machine code that is kept on the disk, it loads and
registers all that it could be asked to compile, and for each kernel looks again whether
there is more. It also reads the form in which one kernel goes into another. Both
are three tenths of a short solve, and to run, machine code only has to find the
functions that manage its memory. So both wait here until something is compiled.

This depends on how the compiler does it, which may change: `KNOWN` is the release that
was looked at, and with others its own way is taken. Loaded when a kernel is first
called, as the compiler is.
"""

import sys
from collections.abc import Callable
from functools import cache
from typing import Any

import numba
from numba.core import codegen, environment, runtime
from numba.core.caching import FunctionCache
from numba.core.codegen import JITCodeLibrary

KNOWN = (0, 68)

_binding: Any = vars(codegen)["ll"]
_memory_functions: Any = vars(runtime)["_nrt_python"]
_rebuilt_with_module = environment._rebuild_env


def machine_code(function: Callable[..., Any], *, for_python: bool) -> FunctionCache:
    """Return where the compiler finds the machine code of a kernel, and keeps it.

    Args:
        function: the kernel as it is written.
        for_python: whether Python calls it, and not only kernels.
    """
    if numba.version_info.short != KNOWN:
        _load_array_functions()
        return FunctionCache(function)
    return _OnDisk(function) if for_python else _ToCompile(function)


class _ToCompile(FunctionCache):
    """Machine code that goes into kernels, which are being compiled."""

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Return what was compiled for a signature, or None."""
        _load_array_functions()
        return super().load_overload(signature, target)


class _OnDisk(FunctionCache):
    """Machine code that Python calls; what isn't there yet is compiled."""

    def load_overload(self, signature: Any, target: Any) -> Any:
        """Return what was compiled for a signature, or None."""
        _name_memory_functions()
        codegen = target.codegen()
        environment._rebuild_env = _rebuilt
        codegen._library_class = _Library
        try:
            found = self._load_overload(signature, target)
        finally:
            environment._rebuild_env = _rebuilt_with_module
            del codegen._library_class
        if found is None:
            _load_array_functions()
        return found


class _Library(JITCodeLibrary):
    """Machine code whose form for other kernels is read when one asks for it."""

    _unread: bytes | None = None

    @classmethod
    def _unserialize(cls, codegen: Any, state: Any) -> "_Library":
        name, _, (code, unread) = state
        made: _Library = codegen.create_library(name)
        made.enable_object_caching()
        made._set_compiled_object(code)
        made._finalize_final_module()
        made._unread = unread
        return made

    def _get_module_for_linking(self) -> Any:
        if self._unread is not None:
            self._shared_module = _binding.parse_bitcode(self._unread)
            self._codegen._engine._load_defined_symbols(self._shared_module)
            self._unread = None
        return super()._get_module_for_linking()

    def get_pointer_to_function(self, name: str) -> int:
        """Return the address of a function that is in here."""
        found: int = self._codegen._engine.get_function_address(name)
        return found


@cache
def _name_memory_functions() -> None:
    """Tell the linker where the functions are that manage memory.

    The compiler does so when it gets ready, and compiles parts that go into new code.
    """
    for name, address in _memory_functions.c_helpers.items():
        _binding.add_symbol(name if name.startswith("_") else f"NRT_{name}", address)


def _rebuilt(module: str, constants: Any, name: str) -> Any:
    """Return what a compiled function refers to, without the compiler's array modules.

    What stands in a module is only looked up by code that calls Python back.
    """
    known = environment.lookup_environment(name)
    if known is not None or module in sys.modules or not module.startswith("numba.np."):
        return known or _rebuilt_with_module(module, constants, name)
    made = environment.Environment({"__name__": module})
    made.consts[:] = constants
    made.env_name = name
    environment.Environment._memo[name] = made
    return made


def _load_array_functions() -> None:
    """Load the compiler's array functions, but not scipy's linear algebra for them.

    They look for it as they are loaded, which takes as long again; no kernel uses it.
    """
    if "numba.np.arraymath" in sys.modules:
        return
    from numba.np import linalg

    look_for = linalg.ensure_blas
    linalg.ensure_blas = _find_none
    try:
        import numba.np.arraymath  # noqa: F401
    finally:
        linalg.ensure_blas = look_for


def _find_none() -> None:
    raise ImportError
