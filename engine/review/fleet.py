"""Workers on other machines: an existing Dask cluster in the place of this machine's processes.

The packs must lie at the same paths everywhere; limits of time and memory are those of the cluster.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from typing import Any

from ..diagnostics.message import InputError, Messages


class Fleet(Executor):
    """One connection to a cluster. When a worker dies, the cluster gives its group to another."""

    def __init__(self, address: str) -> None:
        self.client = _client(address)

    @property
    def size(self) -> int:
        """How many groups can be worked on at once."""
        return max(1, sum(map(int, self.client.nthreads().values())))

    def submit(self, work: Callable[..., Any], /, *args: Any, **more: Any) -> Future[Any]:
        """Hand work over; what comes back has a result() like any future."""
        handed: Future[Any] = self.client.submit(work, *args, **more, pure=False)
        return handed

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Leave the cluster; it goes on without us."""
        self.client.close()


def _client(address: str) -> Any:
    messages = Messages()
    try:
        import distributed
    except ImportError:
        step = 'install the extra: `python -m pip install ".[fleet]"` in the folder of the project'
        messages.add("KN504", "working on a cluster needs Dask, which is not installed", next_step=step)
        raise InputError(messages) from None
    try:
        make: Any = distributed.Client
        return make(address, timeout=10, set_as_default=False)
    except (OSError, ValueError) as error:
        step = "give the address its scheduler prints, as tcp://host:8786"
        messages.add("KN504", f"no cluster answers at `{address}`", next_step=step)
        raise InputError(messages) from error
