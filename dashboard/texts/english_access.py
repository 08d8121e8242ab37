"""English texts of signing in, and of who may do what."""

from typing import Final

ACCESS: Final[dict[str, str]] = {
    "access.sign_in": "Sign in",
    "access.sign_out": "Sign out",
    "access.account": "Account",
    "access.name": "Name",
    "access.passphrase": "Passphrase",
    "access.rule": "Accounts are made on the machine that serves these pages, with `nightkeel user add`.",
    "access.wrong": "Name and passphrase don't belong together.",
    "access.again": "This form was too old. Please sign in once more.",
    "access.wait": "Too many tries. Wait {seconds} s, or have the name unlocked on the machine that serves "
    "these pages with `nightkeel user unlock`.",
    "access.who": "Signed in as {name}; this account may {role}.",
    "access.role.view": "view",
    "access.role.operate": "view and operate",
    "access.back": "Back to the pages",
    "access.view_only": "This account may view, not operate.",
    "access.used": "The command before this one is still being answered; press again.",
}
