"""Flash in pages that erase to ones and are written to zeros; a power cut may tear either at any byte."""

from array import array

PAGE = 4096


class PowerCut(Exception):
    """The supply went away in the middle of a write; what was begun is torn."""


class Flash:
    """Keep pages of 4096 bytes and count how often each was erased.

    `image`: what an earlier life left, or None for a new part. `cut_after(n)` lets n more bytes through
    (an erase counts as 4096), then raises PowerCut.
    """

    def __init__(self, pages: int, image: bytes | None = None) -> None:
        self.pages = pages
        self.memory = bytearray(b"\xff" * (pages * PAGE)) if image is None else bytearray(image)
        if len(self.memory) != pages * PAGE:
            raise ValueError(f"a flash image of {len(self.memory)} bytes does not fit {pages} pages")
        self.wear = array("i", [0] * pages)
        self.left: int | None = None

    def cut_after(self, count: int | None) -> None:
        """Plan a power cut `count` bytes ahead; None takes the plan back."""
        self.left = count

    def read(self, page: int, offset: int, count: int) -> bytes:
        """Return `count` bytes of one page."""
        self._check(page, offset, count)
        at = page * PAGE + offset
        return bytes(self.memory[at : at + count])

    def erase(self, page: int) -> None:
        """Set a page to ones."""
        self._check(page, 0, PAGE)
        self.wear[page] += 1
        at = page * PAGE
        done = self._spend(PAGE)
        self.memory[at : at + done] = b"\xff" * done
        self._stop_if_cut(done, PAGE)

    def write(self, page: int, offset: int, data: bytes) -> None:
        """Clear bits; a bit once zero stays zero until the page is erased."""
        self._check(page, offset, len(data))
        at = page * PAGE + offset
        done = self._spend(len(data))
        for index in range(done):
            self.memory[at + index] &= data[index]
        self._stop_if_cut(done, len(data))

    def worst_wear(self) -> int:
        """Return the most erasures of any page."""
        return max(self.wear)

    def _spend(self, count: int) -> int:
        if self.left is None:
            return count
        done = min(self.left, count)
        self.left -= done
        return done

    def _stop_if_cut(self, done: int, count: int) -> None:
        if done < count:
            self.left = None
            raise PowerCut

    def _check(self, page: int, offset: int, count: int) -> None:
        if not (0 <= page < self.pages and offset >= 0 and offset + count <= PAGE):
            raise ValueError(f"flash has no page {page}, bytes {offset} to {offset + count}")
