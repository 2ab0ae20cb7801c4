"""Writes the PDFs of a pack of orders, side by side where there are many."""

import os
from collections import deque
from collections.abc import Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from types import TracebackType
from typing import Self

from triage.report.home_sheet import Page
from triage.report.sheet_pdf import write_pages

_MANY = 400  # homes: below it other processes cost more to start than they save
_MOST = 8  # each holds a file's pages in memory


class Papers:
    """A place to hand PDFs in; all are written when the `with` block ends.

    Laying pages out is nine tenths of the time of a pack and takes one core, so that many homes
    are shared out among processes. The files are the same either way. What goes wrong in one of
    them is raised by `write`, or at the end.
    """

    def __init__(self, homes: int) -> None:
        self._side_by_side = min(os.cpu_count() or 1, _MOST) if homes >= _MANY else 1
        self._pool: ProcessPoolExecutor | None = None
        self._waiting: deque[Future[None]] = deque()

    def __enter__(self) -> Self:
        if self._side_by_side > 1:
            # A fork would copy the locks of threads that the libraries run.
            self._pool = ProcessPoolExecutor(self._side_by_side, get_context("spawn"))
        return self

    def write(self, path: Path, title: str, pages: Sequence[Page], *, large: bool = False) -> None:
        """Write one file, see `report.sheet_pdf.write_pages`, now or later."""
        if self._pool is None:
            write_pages(path, title, pages, large=large)
            return
        while len(self._waiting) >= 2 * self._side_by_side:  # so that pages do not pile up
            self._waiting.popleft().result()
        self._waiting.append(self._pool.submit(write_pages, path, title, pages, large=large))

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._pool is None:
            return
        try:
            while problem is None and self._waiting:
                self._waiting.popleft().result()
        finally:
            self._pool.shutdown(cancel_futures=True)
