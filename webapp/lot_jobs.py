"""Lots that are being valued in the background, one at a time, so that every other page stays usable."""

from __future__ import annotations

import logging
import queue
import secrets
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Literal

from valuation import LotQuote, LotRequest, RequestRefused, lot_quote
from valuation.lots import LotStopped
from webapp import fault_log
from webapp.lot_file import LotProblem, LotText

State = Literal["waiting", "running", "done", "refused", "stopped", "failed"]
MOST_WAITING = 4
MOST_REMEMBERED = 8
PAUSE_S = 0.001  # after each step
log = logging.getLogger(__name__)


def pause() -> None:
    """Let a page that is asked for have its turn."""
    time.sleep(PAUSE_S)


class TooManyLots(Exception):  # noqa: N818 - told as an event
    """As many lots are waiting as may wait."""


@dataclass
class Job:
    """One lot on its way. Its fields are written by the worker alone, but `stop`, which anyone may set.

    Parameters
    ----------
    digest : str
        Of what was typed, so that an outcome is never shown for something else.
    done, total : int
        Steps.
    """

    name: str
    digest: str
    text: LotText
    request: LotRequest
    state: State = "waiting"
    done: int = 0
    total: int = 0
    quote: LotQuote | None = None
    problems: tuple[LotProblem, ...] = ()
    reference: str = ""
    stop: threading.Event = field(default_factory=threading.Event)

    @property
    def is_open(self) -> bool:
        """Whether it waits or runs."""
        return self.state in ("waiting", "running")

    def progress(self, done: int, total: int) -> bool:
        """Note how far it is; whether to go on."""
        self.done, self.total = done, total
        pause()
        return not self.stop.is_set()

    def run(self) -> None:
        """Value the lot; whatever happens is told by `state`."""
        if self.stop.is_set():
            self.state = "stopped"
            return
        self.state = "running"
        try:
            self.quote = lot_quote(self.request, self.progress)
            self.state = "done"
        except LotStopped:
            self.state = "stopped"
        except RequestRefused as refused:
            self.problems = self.text.refusal(refused.problems).problems
            self.state = "refused"
        except Exception as fault:
            self.reference = secrets.token_hex(4)
            log.error("reference %s: lot %s\n%s", self.reference, self.name, fault_log.told(fault))
            self.state = "failed"


class LotJobs:
    """The lots of one app: what waits, what runs, and the newest outcomes."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: queue.Queue[Job] = queue.Queue(MOST_WAITING)
        self._jobs: OrderedDict[str, Job] = OrderedDict()
        self._worker: threading.Thread | None = None

    def start(self, name: str, digest: str, text: LotText, request: LotRequest) -> Job:
        """Value a lot in place of what ran under its name; the same lot again is not run twice.

        Raises `TooManyLots`.
        """
        with self._lock:
            before = self._jobs.get(name)
            if before is not None and before.digest == digest and before.is_open and not before.stop.is_set():
                return before
            job = Job(name, digest, text, request)
            try:
                self._waiting.put_nowait(job)
            except queue.Full:
                raise TooManyLots from None
            if before is not None:
                before.stop.set()
            self._remember(job)
            if self._worker is None:
                self._worker = threading.Thread(target=self._work, name="lots", daemon=True)
                self._worker.start()
            return job

    def _remember(self, job: Job) -> None:
        self._jobs[job.name] = job
        self._jobs.move_to_end(job.name)
        closed = [name for name, other in self._jobs.items() if not other.is_open]
        for name in closed[: max(0, len(self._jobs) - MOST_REMEMBERED)]:
            del self._jobs[name]

    def _work(self) -> None:
        while True:
            self._waiting.get().run()

    def of(self, name: str, digest: str) -> Job | None:
        """The job of a lot as it is typed now, if there is one."""
        with self._lock:
            job = self._jobs.get(name)
        return job if job is not None and job.digest == digest else None

    def stop(self, name: str) -> None:
        """Stop what runs under that name, if anything does."""
        with self._lock:
            job = self._jobs.get(name)
        if job is not None:
            job.stop.set()
