"""French of the page Rehearsal."""

from typing import Final

REHEARSAL: Final[dict[str, str]] = {
    "nav.rehearsal": "Répétition",
    "rehearsal.title": "Répétition",
    "rehearsal.sends_nothing": "Rien n'est envoyé à un module.",
    "rehearsal.lead": "Le moteur d'alarme du module rejoue cette nuit avec un autre réglage. Les lignes du "
    "circuit gardent leurs délais maximaux.",
    "rehearsal.try": "Essai",
    "rehearsal.setting": "Réglage",
    "rehearsal.value": "Valeur",
    "rehearsal.go": "Rejouer",
    "rehearsal.needs_value": "Choisissez un réglage et écrivez une valeur.",
    "rehearsal.refused": "Non rejoué : {reason}",
    "rehearsal.missed_title": "Événements réels manqués ou tardifs",
    "rehearsal.no_truth": "Aucun événement réel n'est marqué dans cette nuit : on ne peut dire ce qui "
    "serait manqué. Marquez d'abord des événements (genre : event).",
    "rehearsal.none_missed": "Sur {events} événements marqués, aucun ne serait manqué ni plus tardif. Cela "
    "ne prouve rien pour d'autres nuits.",
    "rehearsal.missed": "MANQUÉ : {what} à {at} (en vigueur : {before})",
    "rehearsal.late": "TARDIF : {what} à {at}, {after} s (en vigueur : {before})",
    "rehearsal.no_alarm": "pas d'alarme",
    "rehearsal.not_exact": "Avec les réglages en vigueur, le moteur ne répète pas exactement cette nuit : "
    "les chiffres ne sont qu'un indice.",
    "rehearsal.what": "Chiffre",
    "rehearsal.in_force": "En vigueur",
    "rehearsal.tried": "Essayé",
    "rehearsal.figures": "Chiffres en vigueur et essayés",
    "rehearsal.row.missed": "Événements réels manqués",
    "rehearsal.row.late": "Événements réels tardifs",
    "rehearsal.row.nuisance": "Alarmes sans événement marqué",
    "rehearsal.row.activations": "Alarmes",
    "rehearsal.row.per_hour": "Alarmes par heure",
    "rehearsal.row.standing": "Durée cumulée des conditions",
    "rehearsal.row.silence": "Plus long silence pendant une condition",
    "rehearsal.row.chatter": "Battement (3 ou plus de la même en 1 min)",
    "rehearsal.row.floods": "Avalanches (plus de 10 en 10 min)",
    "rehearsal.row.watched": "Durée rejouée",
    "rehearsal.plot": "Alarmes sans cause contre délai",
    "rehearsal.plot_how": "D'une borne à l'autre. Losange : en vigueur. Croix : manque un événement.",
    "rehearsal.point": "{value} : {nuisance} sans événement, {missed} manqués, {late} tardifs",
    "rehearsal.axis.added": "délai ajouté à la détection, s (médiane)",
    "rehearsal.axis.nuisance": "alarmes sans événement marqué",
}
