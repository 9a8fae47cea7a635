"""Fetching an answer: from the cache while it is fresh, else from machines that were looked at, within bounds.

The bounds: HTTPS only, also where it redirects; so many bytes, unpacked; so many seconds in all; and nothing gets into
the cache that is not a good answer.
"""

from __future__ import annotations

import contextlib
import logging
import os
import sqlite3
import ssl
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import requests
from requests.adapters import HTTPAdapter
from requests_cache import CachedSession
from urllib3 import Retry
from urllib3.exceptions import DecodeError, HTTPError

from webapp.feed_addresses import HostRefused
from webapp.feed_answer import AnswerRefused, FetchRefused
from webapp.feed_connection import Deadline, deadline_of, pool_of
from webapp.feed_settings import Feed, Patience, host_of

CACHE = "feeds.sqlite"
LARGEST_BYTES = 64 * 1024
MOST_HOPS = 4
LONGEST_STALE = timedelta(days=3)
AGAIN = (429, 502, 503, 504)
ACCEPT = {"json": "application/json", "csv": "text/csv, text/plain;q=0.9"}
Judge = Callable[[bytes, str], object]
# Both tell the whole address, in which a key may stand.
for _name in ("requests_cache", "urllib3.connectionpool"):
    logging.getLogger(_name).setLevel(logging.CRITICAL)


@dataclass(frozen=True)
class Got:
    """An answer, and how it was come by.

    Parameters
    ----------
    created_at : datetime
        When it was answered.
    trouble : str
        Why it is an old answer and not a new one; empty if it is fresh.
    """

    body: bytes
    content_type: str
    created_at: datetime
    from_cache: bool
    trouble: str = ""


def got(feed: Feed, folder: Path | None, judge: Judge, patience: Patience) -> Got:
    """A good answer of a feed: cached in a folder, or always a new one without.

    Parameters
    ----------
    judge
        Raises `AnswerRefused` for a body and its content type unless the answer is good.

    Raises
    ------
    FetchRefused
    """
    try:
        return _got(feed, None if folder is None else folder / CACHE, judge, patience)
    except sqlite3.Error as error:
        if folder is None:
            raise FetchRefused(f"the cache failed ({error})") from error
        # A cache holds nothing that cannot be had again.
        with contextlib.suppress(OSError):
            (folder / CACHE).unlink(missing_ok=True)
        return _got(feed, None, judge, patience)


def _got(feed: Feed, cache: Path | None, judge: Judge, patience: Patience) -> Got:
    with deadline_of(patience.total_s) as deadline, _session(feed, cache) as session:
        adapter = _Sound(feed, judge, deadline, patience)
        session.mount("https://", adapter)
        headers = {"Accept": ACCEPT[feed.format], "Accept-Encoding": "identity", "User-Agent": "Lodeworth"}
        if feed.header:
            headers[feed.header] = feed.header_value
        try:
            answer = session.get(feed.address, headers=headers, timeout=(patience.connect_s, patience.read_s))
        except (requests.RequestException, AnswerRefused, HostRefused, OSError) as error:
            raise FetchRefused(_reason(adapter.trouble or error, deadline, patience)) from error
        created = getattr(answer, "created_at", None) or datetime.now(UTC)
        from_cache = bool(getattr(answer, "from_cache", False))
        is_stale = from_cache and bool(getattr(answer, "is_expired", False))
        trouble = _reason(adapter.trouble, deadline, patience) if is_stale else ""
        if from_cache and datetime.now(UTC) - created > LONGEST_STALE + timedelta(minutes=feed.kept_minutes):
            raise FetchRefused(trouble or "its last answer is too old")
        return Got(answer.content, answer.headers.get("Content-Type", ""), created, from_cache, trouble)


# ---- the session


class _Session(CachedSession):
    """A session that takes nothing from the environment, speaks HTTPS only, and keeps the key for its host."""

    key_header = ""

    def rebuild_auth(self, prepared_request: requests.PreparedRequest, response: requests.Response) -> None:
        """Leave the key behind where a redirect goes to another host; requests does so with its own header only."""
        super().rebuild_auth(prepared_request, response)  # type: ignore[no-untyped-call]
        asked, now = response.request.url or "", prepared_request.url or ""
        if self.key_header and self.should_strip_auth(asked, now):  # type: ignore[no-untyped-call]
            prepared_request.headers.pop(self.key_header, None)


@contextmanager
def _session(feed: Feed, cache: Path | None) -> Iterator[_Session]:
    if cache is not None:
        with contextlib.suppress(FileExistsError):  # for this user alone, as the rest of the folder
            os.close(os.open(cache, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    session = _Session(
        str(cache) if cache is not None else "feeds",
        backend="sqlite" if cache is not None else "memory",
        serializer="json" if cache is not None else None,
        expire_after=timedelta(minutes=feed.kept_minutes),
        # Seconds, as its types have it.
        stale_if_error=int(LONGEST_STALE.total_seconds()) if cache is not None else False,
        allowable_codes=(200,),
        ignored_parameters=[feed.header] if feed.header else [],
    )
    session.key_header = feed.header
    session.trust_env = False
    session.max_redirects = MOST_HOPS + 1  # so that our own sentence comes first
    session.verify = feed.ca_file or True
    session.adapters.clear()
    session.mount("http://", _Plain())
    try:
        yield session
    finally:
        session.close()  # type: ignore[no-untyped-call]


class _Plain(HTTPAdapter):
    """No way to addresses without TLS."""

    def send(self, request: requests.PreparedRequest, *_: Any, **__: Any) -> requests.Response:
        raise AnswerRefused(f"it redirects to {host_of(request.url or '')} without HTTPS")


class _Sound(HTTPAdapter):
    """Answers from machines that were looked at, read up to a bound, and good; `trouble` is what went wrong last."""

    def __init__(self, feed: Feed, judge: Judge, deadline: Deadline, patience: Patience) -> None:
        self._feed, self._judge, self._deadline, self._patience = feed, judge, deadline, patience
        self._hops = 0
        self.trouble: BaseException | None = None
        super().__init__(
            max_retries=Retry(
                total=1,
                redirect=0,
                backoff_factor=0.3,
                status_forcelist=AGAIN,
                allowed_methods=("GET",),
                respect_retry_after_header=False,
                raise_on_status=False,
            )
        )

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """Connections that go only where they may."""
        super().init_poolmanager(*args, **kwargs)
        pool = pool_of(self._feed.local_hosts, self._deadline, self._patience)
        self.poolmanager.pool_classes_by_scheme = {"https": pool}

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> requests.Response:
        """An answer with all of its body, which is good or none of this adapter's."""
        self._hops += 1
        try:
            if self._hops > MOST_HOPS:
                raise AnswerRefused("it redirects too often")
            answer = super().send(request, **{**kwargs, "stream": True})
            body = self._body(answer)
            if answer.status_code == 200:
                self._judge(body, answer.headers.get("Content-Type", ""))
            elif not (answer.is_redirect or answer.status_code == 304):
                raise AnswerRefused(f"it answered {answer.status_code} {answer.reason or ''}".strip())
        except Exception as error:
            self.trouble = error
            raise
        # The body is read by us, so that nothing larger is; requests has no public place for it.
        answer._content, answer._content_consumed = body, True  # type: ignore[attr-defined]
        return answer

    def _body(self, answer: requests.Response) -> bytes:
        body = b""
        try:
            while part := answer.raw.read1(LARGEST_BYTES + 1 - len(body), decode_content=True):
                body += part
                if len(body) > LARGEST_BYTES:
                    raise AnswerRefused(f"the answer is longer than {LARGEST_BYTES // 1024} kB")
                self._deadline.check()
        except DecodeError as error:
            raise AnswerRefused("the answer cannot be unpacked") from error
        except HTTPError as error:
            raise requests.ConnectionError(error, request=answer.request) from error
        finally:
            answer.raw.close()
        self._deadline.check()
        return body


# ---- reasons


def _reason(error: BaseException | None, deadline: Deadline, patience: Patience) -> str:
    """Why there is no good answer, in words."""
    if deadline.is_over:
        return f"no whole answer within {patience.total_s:g} seconds"
    chain = list(_chain(error))
    own = next((one for one in chain if isinstance(one, AnswerRefused | HostRefused)), None)
    if own is not None:
        return str(own)
    untrusted = next((one for one in chain if isinstance(one, ssl.SSLCertVerificationError)), None)
    if untrusted is not None:
        return f"its certificate is not trusted ({untrusted.verify_message})"
    if any(isinstance(one, ssl.SSLError) for one in chain):
        return "no secure connection could be made"
    if any(isinstance(one, TimeoutError | requests.Timeout) for one in chain):
        return f"it did not answer within {patience.read_s:g} seconds"
    if any(isinstance(one, ConnectionRefusedError) for one in chain):
        return "nothing answers at that address"
    if isinstance(error, OSError) and not isinstance(error, requests.RequestException):
        return f"the file of certificates cannot be read ({error.strerror or error})"
    return "the connection broke off"


def _chain(error: BaseException | None) -> Iterator[BaseException]:
    """An error and all that led to it; urllib3 and requests keep it in different places."""
    seen: set[int] = set()
    waiting = [error]
    while waiting:
        one = waiting.pop(0)
        if one is None or id(one) in seen:
            continue
        seen.add(id(one))
        yield one
        inner = [getattr(one, "reason", None), one.__cause__, one.__context__, *one.args]
        waiting += [found for found in inner if isinstance(found, BaseException)]
