"""Failures of a request to a service: which answers are unusable, and one plain line for each."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Self

import requests
from urllib3.exceptions import InvalidHeader, MaxRetryError, ResponseError
from urllib3.response import BaseHTTPResponse
from urllib3.util.retry import Retry

#: Environment variable with an address for the User-Agent, which some services ask for.
CONTACT_VARIABLE = "AFTERRAIN_CONTACT"
#: Status codes after which a request is repeated.
RETRIED_STATUS = (429, 500, 502, 503, 504)
#: Repeats of a failed request, and the factor of the waits before them, s: 1, 2 (urllib3: factor ×
#: 2^(n-1)).
RETRIES, BACK_OFF_S = 2, 1.0
#: Longest wait that a service may ask for by Retry-After before the request counts as failed, s.
LONGEST_WAIT_S = 20


class ServiceError(Exception):
    """A service gave no sound answer; the message is one plain line."""


class UnusableAnswerError(requests.RequestException):
    """An answer arrived but cannot be used."""


class BoundedRetry(Retry):
    """Retries that stop where a service asks to wait longer than `LONGEST_WAIT_S`."""

    def get_retry_after(self, response: BaseHTTPResponse) -> float | None:
        """Seconds that the service asks to wait; None where its header cannot be read."""
        try:
            return super().get_retry_after(response)
        except InvalidHeader:
            return None

    def increment(
        self,
        method: str | None = None,
        url: str | None = None,
        response: BaseHTTPResponse | None = None,
        *rest: Any,
        **named: Any,
    ) -> Self:
        """Count an attempt; MaxRetryError where the service asks to wait too long."""
        if response is not None and (self.get_retry_after(response) or 0.0) > LONGEST_WAIT_S:
            raise MaxRetryError(named.get("_pool"), str(url), ResponseError("asks to wait"))  # type: ignore[arg-type]
        return super().increment(method, url, response, *rest, **named)


def retry_policy(back_off_s: float) -> BoundedRetry:
    """Retries of GET and POST requests."""
    return BoundedRetry(
        total=RETRIES,
        backoff_factor=back_off_s,
        status_forcelist=RETRIED_STATUS,
        allowed_methods=("GET", "POST"),
        raise_on_status=False,
    )


def require_sound(response: requests.Response, check: Callable[[Any], object]) -> None:
    """Raise `UnusableAnswerError` where an answer is not what was asked for.

    Parameters
    ----------
    check : raises ValueError where the decoded answer is not sound.
    """
    if response.is_redirect:
        return
    if response.status_code != 200:
        raise UnusableAnswerError(_status_text(response), response=response)
    try:
        payload = response.json()
    except ValueError:
        html = response.text.lstrip()[:1] == "<"
        form = "a web page instead of data" if html else "truncated data"
        raise UnusableAnswerError(f"answered with {form}", response=response) from None
    try:
        check(payload)
    except ValueError as error:
        raise UnusableAnswerError(f"answered, but {error}", response=response) from None


def _status_text(response: requests.Response) -> str:
    """The failure that a status code stands for."""
    status = response.status_code
    if status == 429:
        wait = response.headers.get("Retry-After", "")
        return f"asks to wait (429{f', retry after {wait} s' if wait.isdigit() else ''})"
    if status == 403:
        return f"refuses the request (403 forbidden); set {CONTACT_VARIABLE}"
    if status == 404:
        return "has no such place or data (404)"
    if status >= 500:
        return f"failed on its own side ({status})"
    return f"answered with status {status}"


def failure_text(error: requests.RequestException, service: str, *, read_timeout_s: float) -> str:
    """One plain line for a failed request."""
    if isinstance(error, UnusableAnswerError):
        return f"{service} {error}"
    broken_off = isinstance(error, requests.exceptions.ChunkedEncodingError)
    if isinstance(error, requests.Timeout) or (
        not broken_off and "timed out" in str(error).lower()
    ):
        return f"{service} did not answer within {read_timeout_s:.0f} s"
    if broken_off:
        return f"{service} broke off in the middle of its answer"
    return f"{service} cannot be reached (no connection, or it refuses)"


def failing_part(
    error: requests.RequestException, service: str, product: str
) -> str | tuple[str, str] | None:
    """The part that further requests would meet failing too.

    Returns
    -------
    str, tuple or None
        The service, one product (service, product), or None where only this request failed.
    """
    if isinstance(error, UnusableAnswerError):
        status = 0 if error.response is None else error.response.status_code
        if status in (403, 429):
            return service
        return (service, product) if status >= 500 else None
    return None if isinstance(error, requests.exceptions.ChunkedEncodingError) else service
