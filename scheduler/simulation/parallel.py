"""Mapping a function over tasks: in turn, in processes of this machine, or on a Dask cluster."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import get_context
from typing import TYPE_CHECKING, Protocol, TypeVar

from scheduler.errors import FarmError

if TYPE_CHECKING:
    from distributed import Client

Task = TypeVar("Task")
Result = TypeVar("Result")


class MapFunction(Protocol):
    """Maps a function over items and keeps their order, as `map` does."""

    def __call__(
        self, function: Callable[[Task], Result], items: Iterable[Task], /
    ) -> Iterable[Result]:
        """Results of the function for each item."""
        ...


@contextmanager
def parallel_map(*, workers: int = 1, cluster: str | None = None) -> Iterator[MapFunction]:
    """Open a map function.

    Parameters
    ----------
    workers
        Processes on this machine; 1 works in this process.
    cluster
        Address of a Dask scheduler, used instead.

    Raises
    ------
    FarmError
        If Dask is not installed or the cluster does not answer.
    """
    if cluster is not None:
        with _client(cluster) as client:
            yield lambda function, items: client.gather(
                client.map(function, list(items), pure=False)
            )
    elif workers > 1:
        with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
            yield pool.map
    else:
        yield map


def _client(address: str) -> Client:
    """Connect to a Dask scheduler."""
    try:
        from distributed import Client
    except ImportError:
        raise FarmError("a cluster needs Dask: pip install 'afterrain[cluster]'") from None
    try:
        return Client(address, timeout="10s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise FarmError(f"the cluster at {address} does not answer: {error}") from None
