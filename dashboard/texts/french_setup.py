"""French of what english_setup.py holds, under the same keys with the same places."""

from typing import Final

from dashboard.texts.french_checks import CHECKS
from dashboard.texts.french_evidence import EVIDENCE
from dashboard.texts.french_upkeep import UPKEEP

SETUP: Final[dict[str, str]] = {
    "nav.setup": "Installation",
    "setup.title": "Installation",
    "setup.lead": "Ce qui est prouvé, ce qui est dû, où regarder d'abord. Une étape réussie alors ne "
    "prouve rien "
    "maintenant.",
    "setup.never": "jamais fait",
    "setup.begun": "commencé {when}",
    "setup.complete": "toutes les étapes réussies le {when}",
    "setup.begin": "Recommencer à neuf",
    "setup.step": "{do} : {step}, {list}",
    "setup.begin_step": "Commencer",
    "setup.again_step": "Refaire",
    "setup.open": "Étape ouverte depuis {clock}",
    "setup.again": "Encore une fois : personne sur le circuit",
    "setup.take": "Noter le résultat",
    "setup.yes": "Oui, c'était juste",
    "setup.no": "Non",
    "setup.finish": "Arrêter l'essai ici",
    "setup.stop": "Quitter cette étape",
    "setup.who": "Initiales",
    "setup.second_source": "Une seconde source est prête et essayée",
    "setup.bad_who": "Écrivez d'abord vos initiales.",
    "setup.failed": "Pas fait : {reason}",
    "setup.done": "Noté.",
    "setup.sheet": "Feuille à imprimer",
    "setup.pdf": "en PDF",
    "setup.state.passed": "réussi",
    "setup.state.failed": "échoué",
    "setup.state.waiting": "pas encore",
    "setup.state.not_done": "pas fait",
    "setup.figure": "{value} {unit}",
    "setup.at": "{when}, {who}",
    "setup.answer_late": "Le module n'a pas répondu à temps ; regardez le module.",
    "first.title": "Où regarder d'abord",
    "first.lead": "Causes techniques de ce qui dure, les plus rapides d'abord, avec ce que dit le relevé "
    "du jour.",
    "first.link": "Où regarder d'abord",
    "upkeep.title": "Entretien",
    "upkeep.enter": "Noter ce qui a été fait",
    "upkeep.part": "Partie",
    "upkeep.deed": "Ce qui a été fait",
    "upkeep.counter": "Compteur du concentrateur, h",
    "upkeep.note": "Remarque",
    "upkeep.save": "Noter",
    "upkeep.choose": "Choisissez la partie et ce qui a été fait.",
    "clock.title": "Horloge du module",
    "clock.unknown": "Rien de son horloge depuis une heure.",
    "clock.here": "Cet ordinateur dit {when} ({zone}).",
    "clock.last": "Réglée la dernière fois à {at} : de {old} à {new}.",
    "clock.not_set": "sans date",
    "clock.browser": "Régler d'après ce navigateur",
    "clock.typed": "À la main : AAAA-MM-JJ HH:MM",
    "clock.set": "Régler l'horloge",
    "clock.bad": "Ce n'est ni date ni heure ; écrivez 2026-02-28 21:05.",
    "sheet.title": "{list}, {when}",
    "sheet.where": "{place}, module {module}",
    "sheet.step": "Étape",
    "sheet.result": "Résultat",
    "sheet.figure": "Valeur",
    "sheet.how": "Ce qui a été vu",
    "sheet.when": "Quand, qui",
    "sheet.due": "Essai de décharge à refaire le {date}.",
    "sheet.caution": "Mesuré par le module ou dit par une personne, aux heures données ; ne prouve rien "
    "pour la "
    "suite. Outil de recherche et d'essai, pas un dispositif médical.",
    **CHECKS,
    **EVIDENCE,
    **UPKEEP,
}
