"""What all checks share."""


class Broken(AssertionError):
    """A promise is broken; `check` is its name."""

    def __init__(self, check, what):
        super().__init__(f"{check}: {what}")
        self.check = check


class Check:
    """Watch over one promise, called `name`."""

    name = ""

    def __init__(self, sim):
        self.sim = sim

    def demand(self, holds, what):
        """Raise unless the promise holds; `what` is text, or makes it."""
        if not holds:
            raise Broken(self.name, what() if callable(what) else what)

    def step(self):
        """Look after each step."""

    def committing(self, batches):
        """Look at what is about to be written."""

    def settled(self):
        """Look when everything should have arrived."""
