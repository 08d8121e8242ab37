"""Flash pages as files, one a page: the board's file system keeps a change whole through a power cut."""

import os
import struct

PAGE = 4096


class PageFiles:
    """Keep pages of 4096 bytes that erase to ones; behind a page's bytes stands how often it was erased."""

    def __init__(self, folder):
        self.folder = folder
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there from an earlier life
        self.worst = 0
        for name in os.listdir(folder):
            self.worst = max(self.worst, self._wear(folder + "/" + name))

    def _name(self, page):
        return self.folder + "/" + str(page)

    def _wear(self, name):
        try:
            with open(name, "rb") as file:
                file.seek(PAGE)
                return struct.unpack("<I", file.read(4))[0]
        except (OSError, ValueError):
            return 0

    def read(self, page, offset, count):
        """Return bytes of one page; a page never written is all ones."""
        try:
            with open(self._name(page), "rb") as file:
                file.seek(offset)
                return file.read(min(count, PAGE - offset))
        except OSError:
            return b"\xff" * count

    def erase(self, page):
        """Set a page to ones."""
        wear = self._wear(self._name(page)) + 1
        with open(self._name(page), "wb") as file:
            file.write(b"\xff" * PAGE + struct.pack("<I", wear))
        self.worst = max(self.worst, wear)

    def write(self, page, offset, data):
        """Clear bits; a bit once zero stays zero until the page is erased."""
        before = self.read(page, offset, len(data))
        after = bytes([old & new for old, new in zip(before, data)])
        try:
            file = open(self._name(page), "r+b")
        except OSError:
            file = open(self._name(page), "wb")
            file.write(b"\xff" * PAGE + bytes(4))
        with file:
            file.seek(offset)
            file.write(after)

    def worst_wear(self):
        """Return the most erasures of any page."""
        return self.worst
