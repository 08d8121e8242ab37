"""French of the maintenance log: parts, deeds, what is due, how things wear."""

from typing import Final

UPKEEP: Final[dict[str, str]] = {
    "mark.kind.check": "contrôle",
    "mark.kind.upkeep": "entretien",
    "quantity.hours_of_the_counter": "heures du compteur",
    "quantity.days_until_it_is_due": "jours jusqu'à l'échéance",
    "figure.upkeep": "Entretien",
    "part.battery": "Batterie",
    "part.sieve": "Tamis",
    "part.filter": "Filtre",
    "part.cell": "Cellule d'oxygène",
    "part.cylinder": "Bouteille",
    "part.calibration": "Étalonnage",
    "part.concentrator": "Concentrateur",
    "deed.tested": "éprouvé",
    "deed.changed": "changé",
    "deed.dried": "séché",
    "deed.cleaned": "nettoyé",
    "deed.filled": "rempli",
    "deed.done": "fait",
    "deed.hours_read": "heures lues",
    "deed.serviced": "entretenu",
    "due.now": "Entretien : {list}.",
    "due.never": "{part} : jamais noté",
    "due.due": "{part} : était dû le {date}, dernier {last}",
    "due.soon": "{part} : dû le {date}, dernier {last}",
    "due.later": "{part} : dû le {date}, dernier {last}",
    "due.hours_due": "{part} : {hours} h de trop, dernier {last}",
    "due.hours_soon": "{part} : dû dans {hours} h, dernier {last}",
    "due.hours_later": "{part} : dû dans {hours} h, dernier {last}",
    "upkeep.hours": "{hours} h",
    "upkeep.no_hours": "Compteur du concentrateur : jamais lu.",
    "upkeep.hours_now": "Compteur du concentrateur : {low} à {high} h maintenant.",
    "wear.sieve_none": "Tamis : pas encore un jour à débit prouvé.",
    "wear.sieve_few": "Tamis : pureté {first} à {last} % ; trop peu de jours pour une pente.",
    "wear.sieve": "Tamis : pureté {first} à {last} % en {points} jours, {slope} % par an (95 % : {low} à "
    "{high}).",
    "wear.sieve_bends": "Tamis : depuis le {date} la pureté baisse plus vite, {after} au lieu de {before} "
    "% par mois.",
    "wear.battery_none": "Batterie : jamais éprouvée.",
    "wear.battery_few": "Batterie : {first} à {last} min ; trop peu d'essais pour une pente.",
    "wear.battery": "Batterie : {first} à {last} min en {points} essais, {slope} min par an (95 % : {low} "
    "à {high}).",
    "wear.battery_bends": "Batterie : depuis le {date} elle baisse plus vite, {after} au lieu de {before} "
    "min par mois.",
    "wear.battery_faster": "Batterie : le dernier essai est plus bas que 10 % de vieillissement par an ne "
    "l'explique.",
}
