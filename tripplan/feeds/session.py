"""How a service is asked: with a cache, a deadline, retries and an honest name; whatever goes wrong is one sentence.

Answers are kept in an SQLite file. A fresh one is used without asking again; an old one stands in, marked stale, when
no new one can be had. An answer that cannot be used never replaces a good copy.
"""

from __future__ import annotations

import json
import logging
import re
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar
from urllib.parse import urlsplit

import requests
import requests_cache
from requests.adapters import HTTPAdapter
from requests_cache.backends.sqlite import SQLiteCache
from urllib3 import HTTPConnectionPool, HTTPSConnectionPool

from tripplan import __version__
from tripplan.feeds.settings import FeedSettings

Body = Mapping[str, Any]
Usable = Callable[[Body], None]  # raises Unusable for an answer that must not be kept
Params = Mapping[str, str]
Got = TypeVar("Got")

LARGEST_ANSWER_BYTES = 5_000_000  # a week for one place is some 100 kB
TRIES = 3
FIRST_PAUSE_S = 0.2  # doubled before each further try
WORTH_RETRYING = frozenset({429, 500, 502, 503, 504})
KEY_PARAMETERS = ("apikey", "api_key")
CACHE_NAME = "feeds.sqlite"
POLITE_CACHE_NAME = "feeds_by_headers.sqlite"


class Unusable(Exception):
    """An answer came, but it is not one to use; says why."""


class NoAnswer(Exception):
    """No answer could be had, not even an old one; says why, without address or key."""


@dataclass(frozen=True)
class Answer:
    """What a service said."""

    body: Body
    fetched: datetime  # UTC
    stale: str = ""  # why no newer one could be had; empty for an answer that is not old


def plain(text: object, longest: int = 160) -> str:
    """Return words of a stranger on one line, printable and cut short; what looks like a key is left out."""
    words = " ".join(str(text).split())
    words = "".join(each for each in words if each.isprintable())
    words = re.sub(r"(?i)(api_?key\s*[=:]\s*)\S+", r"\1...", words)
    return words if len(words) <= longest else words[: longest - 3] + "..."


def read_body(raw: bytes) -> Body:
    """Return the JSON object of an answer.  Raises Unusable where it is none, or where it tells of an error."""

    def not_a_number(word: str) -> float:
        raise ValueError(word)

    try:
        body = json.loads(raw.decode("utf-8-sig"), parse_constant=not_a_number)
    except (ValueError, RecursionError):  # ValueError: also bad UTF-8 and numbers of thousands of digits
        looks_like = "a web page" if raw.lstrip()[:1] == b"<" else "damaged or cut short"
        raise Unusable(f"the answer is not in the agreed form ({looks_like})") from None
    if not isinstance(body, dict):
        raise Unusable("the answer is not in the agreed form")
    if error := body.get("error"):
        words = error.get("message") if isinstance(error, dict) else body.get("reason")
        raise Unusable(f'the service says "{plain(words)}"' if words else "the service says there was an error")
    if set(body) == {"message"}:
        raise Unusable(f'the service says "{plain(body["message"])}"')
    if isinstance(body.get("status"), int) and body["status"] >= 400:
        raise Unusable(f'the service says "{plain(body.get("title") or body["status"])}"')
    return body


class _Here(threading.local):
    """What the request running in this thread needs, and what became of it."""

    asked: str = ""  # the address
    usable: Usable | None = None
    deadline: float = 0.0  # of the monotonic clock
    wait_s: float = 0.0  # how long that was from the start
    failure: str = ""


class _TooLong(requests.RequestException):
    """An answer is longer than any that was asked for."""


def _watched(kind: type[Any], here: _Here) -> type[Any]:
    """Return a kind of connection whose answer begins within the deadline or is cut off.

    A timeout counts from each byte, so a head that drips would be read for days.
    """

    class Watched(kind):  # type: ignore[misc]
        def getresponse(self, *args: Any, **kwargs: Any) -> Any:
            cut = threading.Timer(max(0.0, here.deadline - time.monotonic()), _cut, (self.sock,))
            cut.daemon = True
            cut.start()
            try:
                return super().getresponse(*args, **kwargs)
            finally:
                cut.cancel()

    return Watched


def _cut(line: socket.socket) -> None:
    with suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)


class _CheckedAdapter(HTTPAdapter):
    """Sends within the deadline, tries again with growing pauses, and turns an unusable answer into a 502.

    A 502 is never kept, so the good copy stays and comes back. Neither a filter of the cache (it deletes the good copy)
    nor a check afterwards (the bad answer is kept by then) would do.
    """

    def __init__(self, here: _Here) -> None:
        self._here = here
        super().__init__(max_retries=0)  # its own retries would log addresses with the key in them

    def init_poolmanager(self, *args: Any, **kwargs: Any) -> None:
        """Make the connections, each with somebody who looks at the clock."""
        super().init_poolmanager(*args, **kwargs)
        pools: dict[str, type[Any]] = {"http": HTTPConnectionPool, "https": HTTPSConnectionPool}
        self.poolmanager.pool_classes_by_scheme = {
            scheme: type(pool.__name__, (pool,), {"ConnectionCls": _watched(pool.ConnectionCls, self._here)})
            for scheme, pool in pools.items()
        }

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> requests.Response:
        """Send a request; raises requests.RequestException, with the reason left for the sentence."""
        here = self._here
        if not _same_service(here.asked, request.url or ""):  # nobody is led into the centre's own network
            raise self._failed("sent us on to another address", requests.ConnectionError)
        pause_s = FIRST_PAUSE_S
        for number in range(TRIES):
            last = number == TRIES - 1
            left_s = here.deadline - time.monotonic()
            if left_s <= 0:
                raise self._late()
            kwargs.update(stream=True, timeout=left_s)
            try:
                response = super().send(request, *args, **kwargs)
                self._read(response)
                if time.monotonic() >= here.deadline:  # its connection was cut: what came may be a part
                    raise requests.Timeout
            except requests.Timeout:
                raise self._late() from None
            except _TooLong:  # it would be as long the next time
                raise self._failed("sent an answer that is far too long", requests.ConnectionError) from None
            except requests.exceptions.SSLError:
                raise self._failed(
                    "could not be reached safely (its certificate is not valid here)", requests.ConnectionError
                ) from None
            except (requests.RequestException, OSError) as error:
                if time.monotonic() >= here.deadline:
                    raise self._late() from None
                if last or not self._may_wait(pause_s):
                    raise self._failed(
                        "could not be reached (no network, or the service is down)", requests.ConnectionError
                    ) from error
            else:
                wait_s = max(pause_s, _retry_after_s(response))
                if last or response.status_code not in WORTH_RETRYING or not self._may_wait(wait_s):
                    return self._judged(response)
                pause_s = wait_s
            time.sleep(pause_s)
            pause_s *= 2
        raise AssertionError("the last try returns or raises")

    def _may_wait(self, pause_s: float) -> bool:
        return time.monotonic() + pause_s < self._here.deadline

    def _late(self) -> requests.RequestException:
        return self._failed(f"did not answer within {self._here.wait_s:.1f} s", requests.Timeout)

    def _failed(self, why: str, kind: type[requests.RequestException]) -> requests.RequestException:
        self._here.failure = why
        return kind(why)

    def _read(self, response: requests.Response) -> None:
        """Read the whole answer within the deadline, however slowly it drips."""
        parts: list[bytes] = []
        size = 0
        try:
            while chunk := response.raw.read1(65536, decode_content=True):
                parts.append(chunk)
                size += len(chunk)
                if size > LARGEST_ANSWER_BYTES:
                    raise _TooLong
                if time.monotonic() > self._here.deadline:
                    raise requests.Timeout
        except BaseException as error:
            response.close()
            if type(error).__module__.startswith("urllib3"):
                timed_out = "Timeout" in type(error).__name__
                raise (requests.Timeout if timed_out else requests.ConnectionError) from None
            raise
        response._content = b"".join(parts)
        response._content_consumed = True

    def _judged(self, response: requests.Response) -> requests.Response:
        here = self._here
        code = response.status_code
        if code in (200, 203):
            if code == 203:  # MET Norway: this version of the service is about to be withdrawn
                logging.getLogger(__name__).warning("the service at %s is being withdrawn", _host_of(response))
            try:
                body = read_body(response.content)
                if here.usable:
                    here.usable(body)
            except Unusable as error:
                here.failure = str(error)
                response.status_code = 502
        elif code >= 400:
            here.failure = _refusal(response)
        return response


def _same_service(asked: str, address: str) -> bool:
    """Return whether an address is of the service that was asked, by the same way or by https where http was asked."""
    first, now = urlsplit(asked), urlsplit(address)
    same = (now.scheme, now.netloc) == (first.scheme, first.netloc)
    return same or (first.scheme, now.scheme, now.netloc) == ("http", "https", first.hostname)


def _host_of(response: requests.Response) -> str:
    return plain(re.sub(r"^https?://|[/?#].*$", "", response.url or ""))


def _retry_after_s(response: requests.Response) -> float:
    """Return the pause that a service asks for, seconds; 0 where it asks for none in seconds."""
    given = response.headers.get("Retry-After", "")
    return float(given) if re.fullmatch(r"[0-9]{1,6}", given) else 0.0


_REFUSALS = {
    400: "refused the question",
    401: "does not accept the key",
    403: "refused to answer this program (403)",
    404: "knows nothing of this place",
    422: "knows nothing of this place",
    429: "had too many questions",
}


def _refusal(response: requests.Response) -> str:
    code = response.status_code
    words = _REFUSALS.get(code) or (f"has a fault of its own ({code})" if code >= 500 else f"refused ({code})")
    try:
        body = json.loads(response.content)
    except (ValueError, RecursionError):
        return words
    if not isinstance(body, dict):
        return words
    error = body.get("error")
    said = (error.get("message") if isinstance(error, dict) else None) or next(
        (body[key] for key in ("reason", "detail", "message", "title") if isinstance(body.get(key), str)), ""
    )
    return f'{words}: "{plain(said)}"' if said else words


class _NoKeys(logging.Filter):
    """Takes keys out of what the libraries log about addresses."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Rewrite the message where it holds a key."""
        said = record.getMessage()
        clean = re.sub(r"(?i)(api_?key=)[^&\s'\"]+", r"\1...", said)
        if clean != said:
            record.msg, record.args = clean, None
        return True


def _quiet_logs() -> None:
    """Keep tracebacks of the cache and keys in addresses out of the log; the note to the plan says what happened."""
    logging.getLogger("requests_cache").setLevel(logging.ERROR)
    logger = logging.getLogger("urllib3.connectionpool")
    if not any(isinstance(each, _NoKeys) for each in logger.filters):
        logger.addFilter(_NoKeys())


class Call:
    """A question running in a thread of its own, which never keeps the program from ending."""

    def __init__(self, work: Callable[[], Any], rest: Callable[[Any, float], float] = lambda *_: 0.0) -> None:
        """Begin at once.

        rest -- how long after its end it answers for the next, seconds, by its result and the seconds it took
        """
        self.begun = time.monotonic()
        self.rest_until = 0.0  # of the monotonic clock
        self._done = threading.Event()
        self._work = work
        self._rest = rest
        self.result: Any = None
        self.error: BaseException | None = None
        threading.Thread(target=self._run, daemon=True, name="tripplan-feed").start()

    def _run(self) -> None:
        try:
            self.result = self._work()
            ended = time.monotonic()
            self.rest_until = ended + self._rest(self.result, ended - self.begun)
        except BaseException as error:  # handed to whoever waits
            self.error = error
        finally:
            self._done.set()

    @property
    def running(self) -> bool:
        """Whether it has not ended yet."""
        return not self._done.is_set()

    def wait(self, until: float) -> bool:
        """Wait until it ends, or until a time of the monotonic clock; return whether it ended."""
        return self._done.wait(max(0.0, until - time.monotonic()))


class FeedSession:
    """Asks services and keeps their answers in a folder; to be made once and shared by threads."""

    def __init__(self, settings: FeedSettings, cache_folder: Path) -> None:
        _quiet_logs()
        self.settings = settings
        self._here = _Here()
        self._calls: dict[object, Call] = {}
        self._lock = threading.Lock()
        self._plain = self._open(cache_folder, CACHE_NAME, by_headers=False)
        self._polite = self._open(cache_folder, POLITE_CACHE_NAME, by_headers=True)

    def _open(self, folder: Path, name: str, *, by_headers: bool) -> requests_cache.CachedSession:
        settings = self.settings
        oldest = timedelta(hours=settings.keep_stale_h)

        def opened(backend: Any) -> requests_cache.CachedSession:
            return requests_cache.CachedSession(
                backend=backend,
                expire_after=timedelta(minutes=settings.keep_fresh_min),
                stale_if_error=int(oldest.total_seconds()),
                cache_control=by_headers,
                allowable_codes=(200, 203),
                allowable_methods=("GET",),
                ignored_parameters=[*KEY_PARAMETERS],
            )

        try:
            folder.mkdir(parents=True, exist_ok=True)
            cache = SQLiteCache(folder / name, serializer="json", busy_timeout=1000)  # never pickles: they can run code
            session = opened(cache)
            cache.delete(older_than=oldest + timedelta(minutes=settings.keep_fresh_min), vacuum=False)
        except Exception:  # sqlite3 and the file system have many; a cache that cannot be used must not stop a plan
            logging.getLogger(__name__).warning("no answers are kept: %s cannot be used", folder / name)
            session = opened("memory")
        session.headers.update({"User-Agent": self._name(), "Accept": "application/json, application/*+json"})
        session.max_redirects = 2
        for scheme in ("http://", "https://"):
            session.mount(scheme, _CheckedAdapter(self._here))
        return session

    def _name(self) -> str:
        return f"tripplan/{__version__} ({self.settings.contact})"

    def close(self) -> None:
        """Close the files of the cache."""
        self._plain.close()  # type: ignore[no-untyped-call]
        self._polite.close()  # type: ignore[no-untyped-call]

    def ask(self, address: str, params: Params, *, deadline: float, usable: Usable, by_headers: bool = False) -> Answer:
        """Return the answer to a question: a fresh copy, a new answer, or else an old copy with the reason.

        deadline    of the monotonic clock; no try begins or reads on after it
        usable      raises Unusable for an answer that must not be kept
        by_headers  keep answers as long as the service says, and ask only for newer ones (MET Norway demands it)

        Raises NoAnswer when there is not even an old copy.
        """
        return self._ask(address, params, deadline, usable, by_headers, only_kept=False)

    def kept(self, address: str, params: Params, *, by_headers: bool = False) -> Answer:
        """Return the copy that is kept, however old, without asking anybody.  Raises NoAnswer where there is none."""
        return self._ask(address, params, 0.0, None, by_headers, only_kept=True)

    def _ask(
        self, address: str, params: Params, deadline: float, usable: Usable | None, by_headers: bool, *, only_kept: bool
    ) -> Answer:
        here, session = self._here, self._polite if by_headers else self._plain
        here.usable, here.deadline, here.failure, here.asked = usable, deadline, "", address
        here.wait_s = max(0.0, deadline - time.monotonic())
        try:
            response = session.get(address, params=dict(params), only_if_cached=only_kept)
            if response.status_code not in (200, 203):
                refused = "no copy is kept" if only_kept else f"refused ({response.status_code})"
                raise NoAnswer(here.failure or refused)
            body = read_body(response.content)
        except Unusable as error:
            raise NoAnswer(str(error)) from None
        except requests.RequestException:
            raise NoAnswer(here.failure or "could not be asked") from None
        except NoAnswer:
            raise
        except Exception:  # the file of the cache may be damaged in any way; its words could hold an address
            raise NoAnswer(here.failure or "could not be asked (the kept answers cannot be read)") from None
        created = response.created_at
        fetched = created if created.tzinfo else created.replace(tzinfo=UTC)
        old = response.from_cache and response.is_expired
        return Answer(body, fetched.astimezone(UTC), (here.failure or "did not answer in time") if old else "")

    def start(
        self, name: object, work: Callable[[], Any], rest: Callable[[Any, float], float] = lambda *_: 0.0
    ) -> Call:
        """Run a question in its own thread; one that runs or rests under the same name is joined instead."""

        def counts(call: Call) -> bool:
            return call.running or time.monotonic() < call.rest_until

        with self._lock:
            running = self._calls.get(name)
            if running is None or not counts(running):
                self._calls = {key: call for key, call in self._calls.items() if counts(call)}
                running = self._calls[name] = Call(work, rest)
            return running


def four_decimals(angle_deg: float) -> str:
    """Return a coordinate as it is asked for: four decimals, some 11 m, always as many, so that copies are found."""
    text = f"{angle_deg:.4f}"
    return "0.0000" if text == "-0.0000" else text
