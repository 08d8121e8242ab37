"""French of the morning: alarm load, marks, handover, reserves, refusals."""

from typing import Final

from dashboard.texts.french_reserves import RESERVES

_SUMMARY: Final[dict[str, str]] = {
    "compare.title": "Nuits antérieures",
    "night.column.night": "Nuit",
    "cannot_tell.title": "Ce que la pression seule ne dit pas",
    "pressure_cannot_tell.volume": "combien de gaz a circulé",
    "pressure_cannot_tell.tube_position": "où se trouve la sonde",
    "pressure_cannot_tell.gas_to_lung": "si le gaz a atteint le poumon",
    "pressure_cannot_tell.intrinsic_peep": "la pression piégée dans le poumon",
    "pressure_cannot_tell.resistance_or_compliance": "la résistance à part de la raideur, sans pause",
    "pressure_cannot_tell.kink_behind_limit": "une coudure cachée par la limite de pression",
    "pressure_cannot_tell.small_draw_over": "les cycles d'un nourrisson, et beaucoup de ceux d'un enfant, "
    "en respiration spontanée à travers le circuit",
}

_BURDEN: Final[dict[str, str]] = {
    "hours.title": "Respiration, heure par heure",
    "hours.note": "Médiane des cycles de l'heure, entre parenthèses la plus basse et la plus haute valeur ; "
    "pressions en {unit}.",
    "hours.hour": "Dès",
    "hours.breaths": "Cycles",
    "hours.rate": "Fréquence, /min",
    "hours.peak": "Crête",
    "hours.end_expiratory": "Fin d'expiration",
    "hours.range": "{median} ({low} à {high})",
    "burden.title": "Charge d'alarmes",
    "burden.rate": "{per_hour} par heure, {per_day} par jour, sur {hours} surveillées",
    "burden.none": "Rien n'a été surveillé : aucun taux ne peut être donné.",
    "burden.response": "Délai avant pause ou acquittement : médiane {median}, neuf sur dix en {p90} "
    "({count} avec réponse)",
    "burden.no_response": "Aucune alarme n'a été suspendue ni acquittée.",
    "burden.alone": "Terminées d'elles-mêmes, sans réponse : {share} %",
    "burden.quiet": "Plus long temps surveillé sans alarme : {span}",
    "burden.crowds": "Déluges (plus de dix en dix minutes) : {floods} ; répétitions (trois de la même en une "
    "minute) : {chatter}",
    "burden.condition": "Condition",
    "burden.count": "Fois",
    "burden.hour": "Par heure",
    "burden.stood": "Présente",
    "burden.itself": "Terminée d'elle-même",
    "burden.published": "Chiffre publié",
    "burden.day": "Par jour",
    "burden.share": "Cette nuit en regard",
    "burden.times": "{ratio} ×",
    "burden.reference.icu_observed": "observé en réanimation, 6,07 par heure (Görges et al. 2009)",
    "burden.reference.audible_per_bed": "alarmes sonores par lit (Drew et al. 2014)",
    "burden.reference.operator_acceptable": "acceptable pour un opérateur d'usine, non un lit (ISA-18.2, "
    "cité)",
    "burden.reference.operator_most": "le plus pour un opérateur d'usine, non un lit (ISA-18.2, cité)",
    "exposure.title": "Totaux d'exposition",
    "exposure.purity": "Pureté à la source sous {limit} %",
    "exposure.peak": "Pic au-dessus de {limit} {unit}",
    "exposure.judged": "jugé sur {span}",
    "exposure.oxygen": "Oxygène donné, selon les débits saisis à la main",
    "exposure.agent": "Agent consommé, selon les saisies à la main",
    "exposure.litres": "{value} L",
    "exposure.millilitres": "{value} mL",
    "exposure.held": "une saisie a valu {span} au plus",
    "exposure.stored_energy": "Sur batterie",
    "exposure.bypass": "En dérivation",
    "exposure.dead": "Sans sortie",
}

_MARKS: Final[dict[str, str]] = {
    "marks.title": "Repères",
    "marks.new": "Écrire un repère",
    "marks.change": "Modifier le repère {number}",
    "marks.time": "Heure, HH:MM ou HH:MM:SS",
    "marks.author": "Initiales",
    "marks.text": "Ce qui s'est passé",
    "marks.category": "Catégorie",
    "marks.save": "Inscrire",
    "marks.saved": "Inscrit.",
    "marks.stop": "Ne rien changer",
    "marks.edit": "Modifier",
    "marks.edit_of": "Modifier le repère de {clock}",
    "marks.search": "Chercher dans toutes les nuits",
    "marks.find": "Chercher",
    "marks.none": "Aucun repère dans cette nuit.",
    "marks.nothing": "Aucun repère ne contient ces mots.",
    "marks.found": "Trouvés : {count}",
    "marks.history": "Versions antérieures",
    "marks.version": "{recorded}, {author} : {kind} : {text}",
    "marks.bad_time": "Écrivez l'heure HH:MM ou HH:MM:SS, dans cette nuit.",
    "marks.bad_author": "Écrivez vos initiales, pour que d'autres puissent vous interroger.",
    "marks.failed": "Non inscrit : {reason}",
    "mark.kind.note": "Note",
    "mark.kind.suction": "Aspiration",
    "mark.kind.moved": "Mobilisé",
    "mark.kind.tube_changed": "Sonde changée",
    "mark.kind.equipment": "Matériel",
    "mark.kind.drug": "Médicament donné",
    "choice.title": "Comment les pages parlent",
    "choice.language": "Langue",
    "choice.language.en": "English",
    "choice.language.fr": "Français",
    "choice.unit": "Pression en",
    "unit.hPa": "hPa",
    "unit.mbar": "mbar",
}

_HANDOVER: Final[dict[str, str]] = {
    "handover.title": "Transmission, nuit du {date}",
    "handover.where": "{place}, module {module}",
    "handover.no_place": "aucun lit nommé",
    "handover.span": "Enregistrement de {start} à {end} ({zone}, {offset}) ; écrit {written}",
    "handover.preset": "Réglage {preset}",
    "handover.simulated": "SIMULATED, données simulées. D'un module émulé, non d'un patient.",
    "handover.summary": "Résumé",
    "handover.trends": "Tendances",
    "handover.alarms": "Alarmes par condition",
    "handover.apart": "Séparations du circuit",
    "handover.notes": "Notes",
    "handover.reserves": "Réserves à {clock}, bornes inférieures",
    "handover.reserves_none": "Non montrées pour une nuit autre que la dernière : voyez la page Réserves.",
    "handover.reserve": "{rung} (inconnu : {list})",
    "handover.coverage": "Couverture des données",
    "handover.covered": "{watched} sur {whole} enregistrées ({percent} %) ; perdu pour de bon : {gaps}",
    "handover.no_alarms": "Aucune alarme n'a été enregistrée.",
    "handover.no_apart": "Aucune n'a été vue. Un tuyau appuyé contre quelque chose peut garder de la "
    "pression.",
    "handover.no_notes": "Personne n'a écrit de note.",
    "handover.more": "et {count} de plus, à la page Nuit",
    "handover.began": "Début",
    "handover.lasted": "Durée",
    "handover.before": "Avant cela",
    "handover.highest": "Maximum, {unit}",
    "handover.caution": "Outil de recherche et de prototypage, jamais l'alarme unique ou principale. La "
    "pureté est "
    "mesurée à la source ; ce n'est pas ce qui a été inspiré. La pression ne dit pas : {list}.",
    "handover.earlier": "{finding}, {span} plus tôt",
    "handover.lane_high": "haute",
    "handover.lane_medium": "moyenne",
    "handover.lane_low": "basse",
    "handover.figure": "Tendances de la nuit : alimentation avant et après l'onduleur, pureté à la source, "
    "pression "
    "du circuit, fréquence, alarmes. Hachuré : non enregistré.",
    "handover.peak": "pic",
    "handover.end": "fin d'expiration",
    "handover.hatched": "hachuré : non enregistré",
}

_RESERVES: Final[dict[str, str]] = {
    "rung.battery": "Batterie",
    "rung.cylinder": "Bouteille",
    "rung.hand_room_air": "Ventilation à la main, air ambiant",
    "hand.bag_not_seen": "personne n'a dit qu'un ballon auto-remplisseur est au lit",
    "battery.never_tested": "jamais prouvée par une décharge",
    "battery.test_too_old": "la preuve est trop ancienne",
    "battery.test_dated_later": "la preuve est datée d'après maintenant",
    "battery.temperature": "la température de la batterie",
    "battery.recharge": "jusqu'où elle s'est rechargée",
    "battery.load_unknown": "la charge électrique",
    "battery.bypassed": "en dérivation : elle n'est pas derrière la sortie",
    "battery.short": "courte",
    "battery.very_short": "très courte",
    "cylinder.not_entered": "non saisie",
    "cylinder.rate_not_measured": "le vrai débit, par deux lectures datées du manomètre",
    "cylinder.leaks": "les fuites",
    "cylinder.gas_temperature": "la température du gaz",
    "cylinder.somebody_must_open": "quelqu'un doit l'ouvrir",
    "cascade.staff_hands": "combien de temps tiennent les mains",
    "cascade.equipment_faults": "les pannes de matériel",
    "cascade.gas_to_lung": "si le gaz atteint le poumon",
    "lengthen.half_oxygen": "moitié moins d'oxygène ajouté",
    "lengthen.one_l_min": "oxygène à 1 L/min",
    "lengthen.minute_volume": "un cinquième de volume-minute en moins",
    "lengthen.hand_instead_of_drive_gas": "la main à la place du gaz moteur",
    "mixture.no_leak": "aucune fuite n'est supposée",
    "mixture.flow_right": "le débitmètre est juste",
    "mixture.reservoir": "un réservoir qui garde l'oxygène de l'expiration",
    "mixture.no_reservoir": "pas de réservoir",
    "mixture.constant_inspiratory_flow": "le débit inspiratoire est constant",
}

_REFUSED: Final[dict[str, str]] = {
    "refused.not_a_number": "{quantity} : {given} n'est pas un nombre ; donnez-en un entre {low:g} et "
    "{high:g} "
    "{unit}.",
    "refused.out_of_bounds": "{quantity} : {given:g} {given_unit} est hors de {low:g} à {high:g} "
    "{given_unit} ; "
    "vérifiez la lecture et son unité.",
    "refused.negative": "{quantity} : {given:g} {given_unit} est négatif ; donnez {low:g} ou plus.",
    "refused.unknown_unit": "{quantity} : l'unité {unit} est inconnue ici ; prenez l'une de {known}.",
    "refused.unknown_size": "La taille de bouteille {size} est inconnue ; prenez l'une de {known}, ou "
    "donnez le "
    "volume d'eau en litres frappé sur l'ogive.",
    "refused.unknown_agent": "L'agent {agent} est inconnu ; prenez l'un de {known}.",
    "refused.unknown_chemistry": "Le type de batterie {chemistry} est inconnu ; prenez l'un de {known}.",
    "refused.gauge_over_fill": "Un manomètre à {gauge_bar:g} bar dépasse de plus d'un quart le remplissage "
    "d'une "
    "bouteille {size} ({fill_bar:g} bar) ; vérifiez la taille, le manomètre et son unité.",
    "refused.readings_not_in_order": "La seconde lecture du manomètre n'est pas après la première ; donnez "
    "d'abord la plus ancienne.",
    "refused.gauge_rose": "Le manomètre est monté de {first_bar:g} à {second_bar:g} bar entre les lectures "
    "; une "
    "bouteille en usage ne se remplit pas : relisez les deux.",
    "refused.edf_year": "EDF+ ne peut tenir l'année {year} (seulement {first} à {last}) : corrigez d'abord "
    "la date "
    "de la session.",
    "refused.nothing_to_export": "Il n'y a rien à exporter : la période choisie ne contient aucun "
    "échantillon.",
}

TEXTS: Final[dict[str, str]] = {
    **_SUMMARY, **_BURDEN, **_MARKS, **_HANDOVER, **_RESERVES, **_REFUSED, **RESERVES,
}  # fmt: skip
