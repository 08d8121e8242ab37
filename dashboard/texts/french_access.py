"""French of what english_access.py holds, under the same keys with the same places."""

from typing import Final

ACCESS: Final[dict[str, str]] = {
    "access.sign_in": "Se connecter",
    "access.sign_out": "Se déconnecter",
    "access.account": "Compte",
    "access.name": "Nom",
    "access.passphrase": "Phrase secrète",
    "access.rule": "Les comptes se créent sur la machine qui sert ces pages, avec `nightkeel user add`.",
    "access.wrong": "Le nom et la phrase secrète ne vont pas ensemble.",
    "access.again": "Ce formulaire était trop ancien. Veuillez vous connecter à nouveau.",
    "access.wait": "Trop d'essais. Attendez {seconds} s, ou faites débloquer le nom sur la machine qui sert "
    "ces pages avec `nightkeel user unlock`.",
    "access.who": "Connecté sous le nom {name} ; ce compte peut {role}.",
    "access.role.view": "consulter",
    "access.role.operate": "consulter et commander",
    "access.back": "Retour aux pages",
    "access.view_only": "Ce compte peut consulter, non commander.",
    "access.used": "La commande précédente attend encore sa réponse ; appuyez de nouveau.",
}
