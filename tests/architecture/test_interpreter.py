"""What is imported for the tests leaves the interpreter as Python set it up."""

import signal


def test_a_closed_pipe_is_an_exception_not_the_end():
    """Python ignores SIGPIPE, so that a write to a closed pipe raises (documented); one import undid that."""
    assert signal.getsignal(signal.SIGPIPE) is signal.SIG_IGN
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL
