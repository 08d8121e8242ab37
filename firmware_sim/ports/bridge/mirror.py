"""A copy of the flash inside the interpreter; every change is noted, so that the board repeats it."""

PAGE = 4096


class MirrorFlash:
    """Answer reads from the copy; keep (page, offset, data or None for an erase) in `operations`."""

    def __init__(self, image, wear):
        self.memory = image
        self.wear = wear
        self.operations = []

    def read(self, page, offset, count):
        """Return bytes of one page."""
        at = page * PAGE + offset
        return bytes(self.memory[at:at + count])

    def erase(self, page):
        """Set a page to ones."""
        self.wear[page] += 1
        at = page * PAGE
        self.memory[at:at + PAGE] = b"\xff" * PAGE
        self.operations.append((page, 0, None))

    def write(self, page, offset, data):
        """Clear bits."""
        memory = self.memory
        at = page * PAGE + offset
        for byte in data:
            memory[at] &= byte
            at += 1
        self.operations.append((page, offset, bytes(data)))

    def worst_wear(self):
        """Return the most erasures of any page."""
        return max(self.wear)
