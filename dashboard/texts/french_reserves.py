"""French of what english_reserves.py holds, under the same keys with the same places."""

from typing import Final

RESERVES: Final[dict[str, str]] = {
    "nav.reserves": "Réserves",
    "reserves.title": "Si le secteur tombe maintenant",
    "reserves.lead": "Au moins {minutes} min avant qu'il ne reste que les mains et l'air ambiant, à {clock} "
    "({zone}).",
    "reserves.calculated": "Calculé, non mesuré. Un minimum ne prouve rien : observez le patient.",
    "reserves.rung": "{name} : au moins {minutes} min, jusqu'à {clock}",
    "reserves.hand": "{name} : à partir de {clock}",
    "reserves.bag": "ballon autoremplisseur au lit, vu à {clock}",
    "reserves.not_proven": "non prouvée",
    "reserves.unknown": "Inconnu : {list}",
    "reserves.at_most": "peut-être jusqu'à {minutes} min",
    "reserves.open": "combien de plus, on ne sait pas",
    "reserves.lengthen": "Ce qui la prolongerait",
    "reserves.longer": "{minutes} min de plus : {what} ({flow} L/min)",
    "reserves.nothing_lengthens": "Rien de connu : saisissez bouteille et débit.",
    "reserves.whole": "Ce que l'ensemble ne sait pas",
    "reserves.sources": "D'où viennent les chiffres",
    "reserves.figure": "Batterie, puis bouteille, puis ventilation à la main à l'air ambiant, dans le temps "
    "à partir de maintenant. Plein : au moins. Hachuré : non prouvé. Pointillé : peut-être plus.",
    "reserves.key": "Plein : au moins. Hachuré : non prouvé. Pointillé : peut-être plus.",
    "reserves.content": "{size}, {gauge} bar lus à {clock} : gaz parfait {ideal} L, gaz réel {real} L, règle "
    "du facteur {factor} L ; le plus petit est pris. Se vide à {flow} L/min.",
    "reserves.gauge_read": "{gauge} bar, lus à {clock}",
    "reserves.module_told": "Le module a été informé à {clock} : il décompte lui-même cette bouteille "
    "et alarme en dessous de {limit} min.",
    "reserves.module_refused": "Le module a refusé cette saisie ({result}) : son alarme de bouteille ne la "
    "connaît pas.",
    "reserves.module_waits": "Le module n’a pas été informé de cette saisie : il n’est pas connecté, ou "
    "aucun service ne tourne. Son alarme de bouteille ne la connaît pas encore.",
    "reserves.rate": "Le manomètre a baissé de {flow} L/min en {minutes} min ({low} à {high}).",
    "reserves.unreadable": "Saisies illisibles : {count}. Saisissez-les de nouveau.",
    "reserves.more": "Saisir bouteille, débit, ballon",
    "reserves.enter": "Ce qui est au lit",
    "reserves.author": "Initiales",
    "reserves.cylinder": "Bouteille et manomètre",
    "reserves.size": "Taille",
    "reserves.other": "Autre, en litres d'eau",
    "reserves.water": "Volume d'eau, 0,2 à 80 L, frappé sur l'ogive",
    "reserves.gauge": "Manomètre maintenant : 0 à 300 bar, 4351 psi, 30000 kPa",
    "reserves.unit": "Unité du manomètre",
    "reserves.unit.bar": "bar",
    "reserves.unit.psi": "psi",
    "reserves.unit.kPa": "kPa",
    "reserves.flows": "Débits",
    "reserves.oxygen": "Oxygène, 0 à 30 L/min",
    "reserves.volume": "Volume-minute d'un soufflet mû par le gaz, 0,1 à 40 L/min ; vide : aucun",
    "reserves.bleed": "Fuite propre du ventilateur, 0 à 20 L/min",
    "reserves.bag_title": "Ballon autoremplisseur",
    "reserves.bag_time": "Vu au lit, HH:MM ; vide : maintenant",
    "reserves.save.cylinder": "Saisir la bouteille",
    "reserves.save.flow": "Saisir les débits",
    "reserves.save.bag": "Ballon vu",
    "reserves.saved": "Saisi.",
    "reserves.bad_author": "Écrivez vos initiales, pour que d'autres puissent vous demander.",
    "reserves.bad_time": "Écrivez l'heure en HH:MM, dans les dernières 24 heures.",
    "reserves.failed": "Non saisi : {reason}",
    "mark.kind.reserve": "Réserve",
    "battery.output_dead": "il n'y a pas de tension après l'onduleur",
    "battery.support_not_proven": "si la batterie est derrière la sortie",
    "battery.reading_old": "la lecture du module est ancienne ; tout le temps écoulé est retiré",
    "battery.peukert_only": "par la loi de Peukert seule, aucune décharge ne la prouve",
    "cylinder.flow_not_entered": "le débit n'est pas saisi",
    "cylinder.gauge_old": "le manomètre a été lu il y a plus de 12 h",
    "cylinder.in_use": "l'oxygène semble venir d'une bouteille : ce qui a servi depuis la lecture est retiré",
    "source.battery_proven": "dernière décharge prouvée × charge × vieillissement de 10 % par an (pratique "
    "commune ; charge rapide jusqu'à 85 % : UPS handbook, McGraw-Hill 2004, p. 197)",
    "source.peukert": "loi de Peukert, forme assignée t = H (C/(I H))^k (publiée) ; vieillissement 0,8 : UFC "
    "3-520-01 App. E",
    "source.gas": "gaz parfait (définition) ; gaz réel : Schmidt, Wagner, Fluid Phase Equilibria 19 (1985) "
    "175 ; facteur et « laisser 200 psi » : US Army course MD0542 ; le plus petit est pris",
    "source.demand": "volume-minute d'un soufflet mû par le gaz + fuite propre + oxygène ajouté (pratique "
    "commune)",
    "source.rate": "deux lectures datées du manomètre, chacune à 2 bar près au pire (pratique commune)",
    "source.mixture_reservoir": "[0,21 (MV − Q) + p Q]/MV (publiée ; Shrestha et al. 1994)",
    "source.mixture_none": "0,21 + (p − 0,21)(Q/MV)(Ti/Ttot) (bilan ; Jarvis, Brock-Utne 1991)",
    "source.agent": "vecteur × %/100 × 60/E, et 3 × débit × % (Indian J Anaesth 2013;57:455) ; le plus grand",
    "source.cascade": "minimums mis bout à bout, chacun arrondi vers le bas (la nôtre)",
}
