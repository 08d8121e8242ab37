"""What an answer of the server means for the lines that were sent: one table."""

from dataclasses import dataclass

ACCEPTED = "accepted"
RETRY = "retry"
SPLIT = "split"
HALTED = "halted"

# A server that answers none of these is asked again later, as after a failure.
OUTCOMES: dict[int, tuple[str, str]] = {
    200: (ACCEPTED, ""),
    202: (ACCEPTED, ""),
    204: (ACCEPTED, ""),
    301: (HALTED, "the server has moved; give its new address with --url"),
    302: (HALTED, "the server sends elsewhere, perhaps to a login page; give the address of its write API"),
    307: (HALTED, "the server has moved; give its new address with --url"),
    308: (HALTED, "the server has moved; give its new address with --url"),
    400: (SPLIT, "the server refuses a line, or took only part of the batch"),
    401: (HALTED, "the server wants a valid token; make one there and name its file with --token-file"),
    402: (HALTED, "the server's plan is used up; mend that with its operator"),
    403: (HALTED, "the token may not write to this bucket; give it the right, or name another bucket"),
    404: (
        HALTED,
        "the server knows no such bucket or organisation; make it there, or mend --bucket and --org",
    ),
    405: (HALTED, "there is no write API at this address; mend --url"),
    408: (RETRY, "the server took too long"),
    413: (SPLIT, "the batch is too large for the server"),
    422: (SPLIT, "the server can't store a line"),
    429: (RETRY, "the server wants fewer requests"),
    500: (RETRY, "the server failed"),
    502: (RETRY, "the server behind the gateway is down"),
    503: (RETRY, "the server is overloaded or starting"),
    504: (RETRY, "the server behind the gateway is slow"),
}
RETRY_FIRST_S = 1.0
RETRY_LAST_S = 300.0
# Servers may ask for hours; nobody should wait longer than this to learn that one is back.
RETRY_AFTER_MAX_S = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """Hold what came back: `status` None when nothing did, `retry_after_s` when the server named a time."""

    status: int | None
    retry_after_s: float | None = None
    text: str = ""


def outcome(answer: Answer) -> tuple[str, str]:
    """Return what to do and why."""
    if answer.status is None:
        return RETRY, answer.text or "the server doesn't answer"
    return OUTCOMES.get(answer.status, (RETRY, f"the server answered {answer.status}"))


def wait_s(answer: Answer, failures: int) -> float:
    """Return how long to wait before the next try: the server's wish, else doubling from one second."""
    if answer.retry_after_s is not None:
        return min(max(answer.retry_after_s, 0.0), RETRY_AFTER_MAX_S)
    return min(RETRY_FIRST_S * 2.0 ** min(failures - 1, 20), RETRY_LAST_S)
