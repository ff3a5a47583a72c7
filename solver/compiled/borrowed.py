"""Arrays that a kernel borrows from its caller, without counting references.

Every view of an array that came from Python counts references, with locked memory: in a
kernel that makes hundreds of views of one array, that takes longer than all its
arithmetic. A view of what the caller holds for as long as the call lasts need not.
"""

from typing import Any

from .kernel import compiler, kernel

numba: Any = compiler()
_voidptr: Any = numba.types.voidptr
_carray: Any = numba.carray


@numba.extending.intrinsic
def _pointer(typing_context: Any, address: Any) -> Any:
    """Return an address as a pointer."""

    def code(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        kind = context.get_value_type(signature.return_type)
        return builder.inttoptr(arguments[0], kind)

    return _voidptr(numba.types.uintp), code


@kernel
def borrowed(values):
    """Return an array (n,) that must outlive the call as one that counts nothing."""
    return _carray(_pointer(values.ctypes.data), values.shape, values.dtype)
