"""Which program a board starts: the confirmed one, or a new one on trial, once, until it proves itself.

A program lies in `slots/NAME`, the first one beside main.py under the name ''. `slots/now` names the
confirmed one; `slots/trial` holds 'NAME starts'. A trial that was started once and did not confirm itself is
rolled back at the next start, whatever ended it: watchdog, exception, button, power. Files are replaced by
renaming, which the board's file system keeps whole through a power cut.
"""

import os

FOLDER = "slots"
NOW = FOLDER + "/now"
TRIAL = FOLDER + "/trial"
REJECTED = FOLDER + "/rejected"


def choose():
    """Return (folder to start from, '' for the one beside main.py; is it on trial)."""
    now = _read(NOW)
    name, _, starts = _read(TRIAL).partition(" ")
    if not name:
        return _folder(now), False
    if name == now or starts != "0" or not _is_there(name):
        # Confirmed just before a power cut, or started before without a word: the trial is over.
        if name != now:
            _write(REJECTED, name)
        os.remove(TRIAL)
        return _folder(now), False
    _write(TRIAL, name + " 1")
    return _folder(name), True


def confirm():
    """Keep the program on trial: from now on it is the one that starts."""
    name = _read(TRIAL).partition(" ")[0]
    if name:
        _write(NOW, name)
        os.remove(TRIAL)


def _folder(name):
    return FOLDER + "/" + name if name and _is_there(name) else ""


def _is_there(name):
    try:
        os.stat(FOLDER + "/" + name + "/firmware_sim")
    except OSError:
        return False
    return True


def _read(path):
    try:
        with open(path) as file:
            return file.read().strip()
    except OSError:
        return ""


def _write(path, text):
    with open(path + ".new", "w") as file:
        file.write(text)
    os.rename(path + ".new", path)
