"""How the threads of one compiled run wait for each other.

The time loop stays inside compiled code: each thread runs the whole of it for its
own share of the steps, waits for the rows that it needs from another, and meets all
others where a stretch of steps ends.
"""

import os
from typing import Any

import numpy as np
from llvmlite import ir
from numba import njit, types
from numba.extending import intrinsic
from numpy.typing import NDArray

#: Looks at the counter before the core is offered to others.
PATIENCE = 2000

if os.name == "posix":
    _give_way = types.ExternalFunction("sched_yield", types.int32())
else:

    @njit(cache=True)
    def _give_way() -> int:
        """Go on waiting."""
        return 0


@intrinsic
def _add_at_once(_context: Any, counter: Any, amount: Any) -> Any:
    """Add to the first number of an array as one act; give what it was before."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        amount = context.cast(
            builder, arguments[1], signature.args[1], signature.return_type
        )
        pointer = builder.bitcast(array.data, ir.IntType(64).as_pointer())
        return builder.atomic_rmw("add", pointer, amount, ordering="seq_cst")

    return types.int64(counter, amount), generate


@intrinsic
def _read_at_once(_context: Any, counter: Any) -> Any:
    """Read the first number of an array as others see it."""

    def generate(context: Any, builder: Any, signature: Any, arguments: Any) -> Any:
        array = context.make_array(signature.args[0])(context, builder, arguments[0])
        pointer = builder.bitcast(array.data, ir.IntType(64).as_pointer())
        return builder.load_atomic(pointer, ordering="seq_cst", align=8)

    return types.int64(counter), generate


@njit(cache=True, nogil=True)
def meet(counter: NDArray[np.int64], threads: int) -> None:
    """Wait until every thread has come here as often as this one.

    Parameters
    ----------
    counter : (1,) ndarray of int64
        Shared by the threads; zero before the first meeting.
    threads : int
        How many meet.
    """
    if threads == 1:
        return
    come = _add_at_once(counter, 1) + 1  # type: ignore[call-arg]
    wait_for(counter, (come + threads - 1) // threads * threads)


@njit(cache=True, nogil=True)
def wait_for(counter: NDArray[np.int64], amount: int) -> None:
    """Wait until a counter has come to an amount.

    Parameters
    ----------
    counter : (1 or more,) ndarray of int64
        Its first number counts.
    amount : int
        What is waited for.
    """
    waits = 0
    while _read_at_once(counter) < amount:  # type: ignore[call-arg]
        waits += 1
        if waits > PATIENCE:
            _give_way()


@njit(cache=True, nogil=True)
def tell(counter: NDArray[np.int64], amount: int) -> None:
    """Bring a counter to an amount, once all that was written before is seen.

    Parameters
    ----------
    counter : (1 or more,) ndarray of int64
        Its first number counts; only one thread may tell it.
    amount : int
        What it comes to.
    """
    _add_at_once(counter, amount - counter[0])  # type: ignore[call-arg]
