"""Matrix products on one thread: on the small products of a tone fit, threads cost more than they bring."""

from contextlib import AbstractContextManager
from functools import lru_cache
from typing import Any


def one_thread() -> AbstractContextManager[Any]:
    """Give a context in which BLAS keeps to one thread (docs/decisions/0007)."""
    controller: AbstractContextManager[Any] = _controller().limit(limits=1, user_api="blas")
    return controller


@lru_cache(maxsize=1)
def _controller() -> Any:  # noqa: ANN401  (the library has no types)
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()
