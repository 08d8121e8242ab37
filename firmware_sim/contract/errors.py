"""The one exception that a person can cause; the command line turns it into a sentence and exit status 2."""


class UserError(Exception):
    """Say in one sentence what is wrong, where, and how to mend it."""
