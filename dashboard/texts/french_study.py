"""French of the page Supply and of the words that the study's report shares with it."""

from typing import Final

from dashboard.texts.french_report import REPORT

_PAGE: Final[dict[str, str]] = {
    "nav.supply": "Alimentation",
    "supply.title": "Alimentation",
    "supply.period": "{start} à {end}",
    "supply.moves": "Période",
    "supply.whole": "Tout",
    "supply.weeks": "Quatre semaines",
    "supply.week": "Une semaine",
    "supply.earlier": "Avant",
    "supply.later": "Après",
    "supply.compare": "Comparer avec",
    "supply.compare.none": "rien",
    "supply.compare.before": "la même durée avant",
    "supply.compare.module": "module {module}",
    "supply.this": "cette période",
    "supply.that": "comparée",
    "supply.row.availability": "alimentation disponible",
    "supply.row.inside": "dans ±10 % de la valeur nominale, par minute",
    "supply.row.dip": "creux",
    "supply.row.swell": "surtensions",
    "supply.row.interruption": "coupures",
    "supply.row.coverage": "surveillé",
    "supply.bounds": "{value} {unit}, bornes {low} à {high}",
    "supply.value": "{value} {unit}",
    "supply.short": "Moins de quatre semaines : les taux par semaine sont extrapolés.",
    "supply.plane": "Amplitude selon la durée",
    "supply.plane_note": "Trait : ITIC, un repère pour du matériel de 120 V. Tirets : SEMI F47. Creux : au "
    "moins. Anneaux gris : comparés.",
    "supply.plane_label": "Chaque creux et surtension selon sa durée et la tension restante, avec "
    "l'enveloppe ITIC ; les événements figurent dans le tableau ci-dessous.",
    "supply.days": "Coupures par jour",
    "supply.days_label": "Débuts de coupure de chaque jour, une colonne par semaine ; hachuré là où rien n'a "
    "été surveillé.",
    "supply.day": "{day}, {begun} débuts, {minutes} min sans alimentation, {watched} h surveillées",
    "supply.day_dark": "{day}, jamais surveillé",
    "supply.calendar": "Coupures par heure et jour de semaine",
    "supply.calendar_note": "Nombre de débuts, {zone}. Hachuré : jamais surveillé.",
    "supply.calendar_label": "Débuts de coupure par heure et jour de semaine ; hachuré là où rien n'a été "
    "surveillé.",
    "supply.cell": "{day} {hour}:00, {begun} débuts, {minutes} min sans alimentation, {watched} h "
    "surveillées",
    "supply.cell_dark": "{day} {hour}:00, jamais surveillé",
    "supply.point": "{kind}, {extreme} %, {length}, {start}",
    "supply.events": "Événements",
    "supply.events_hint": "Trier par un titre, filtrer au-dessous ; choisir une ligne pour voir sa forme "
    "d'onde.",
    "supply.no_events": "Aucun événement pendant le temps surveillé de cette période.",
    "supply.seconds": "durée, s",
    "supply.capture": "Forme d'onde : {kind}, {start}",
    "supply.capture_hint": "Choisir un événement : sa forme d'onde, ses valeurs efficaces et ses "
    "harmoniques viennent ici.",
    "supply.capture_none": "Aucune forme d'onde gardée : {kind}, {start}. Le module en garde huit à la "
    "fois, puis une toutes les cinq secondes.",
    "supply.capture_lost": "Des parties de cette forme d'onde ont été perdues en route ; le trait s'y "
    "interrompt.",
    "supply.capture_named": "Selon les règles pour les formes d'onde : {name}.",
    "study.disturbance.normal": "aucune règle ne s'applique",
    "study.disturbance.generator start": "démarrage d'un groupe",
    "study.disturbance.interruption": "coupure",
    "study.disturbance.flicker": "papillotement",
    "study.disturbance.phase jump": "saut de phase",
    "study.disturbance.dip": "creux",
    "study.disturbance.swell": "surtension",
    "study.disturbance.notch": "encoche",
    "study.disturbance.oscillatory transient": "transitoire oscillatoire",
    "study.disturbance.impulse": "impulsion",
    "study.disturbance.harmonic distortion": "distorsion harmonique",
    "supply.wave_label": "Tension avant l'onduleur autour de l'événement, et sa valeur efficace au-dessous",
    "supply.harmonics": "Harmoniques : gris les 0,2 s du début, avant l'événement ; violet les 0,2 s de la "
    "fin.",
    "supply.harmonics_none": "Cette forme d'onde ne donne pas d'harmoniques.",
    "supply.harmonics_label": "Sous-groupes harmoniques, en part du fondamental, avant l'événement et à la "
    "fin",
    "supply.first": "0,2 s du début",
    "supply.last": "0,2 s de la fin",
    "supply.filter": "filtrer",
    "study.lead": "Non surveillé : {dark} sur {whole}. Couverture {percent} %.",
    "study.lead_none": "Surveillé sans lacune pendant {whole}. Couverture {percent} %.",
    "study.not_measured": "Non mesuré : transitoires de moins d'un échantillon de 0,3 ms, harmoniques "
    "au-dessus du rang {order}, déséquilibre, courant. Le papillotement n'est qu'estimé, et seulement là "
    "où les demi-périodes ont été gardées. Une coupure pendant que le module est éteint ne se voit pas.",
    "study.kind.dip": "creux",
    "study.kind.swell": "surtension",
    "study.kind.interruption": "coupure",
    "study.kind.rapid change": "variation rapide",
    "study.region.prohibited": "au-dessus de la courbe haute",
    "study.region.no interruption": "entre les courbes",
    "study.region.no damage": "sous la courbe basse",
    "study.length.at_least": "au moins {text}",
    "study.axis.seconds": "durée, s",
    "study.axis.percent": "tension, % de la référence",
    "study.axis.hour": "heure du jour",
    "study.axis.order": "rang",
    "study.axis.of_fundamental": "% du fondamental",
    "study.axis.volts": "tension, V",
    "study.axis.half_cycle": "Ueff(1/2), V",
    "study.axis.ms": "temps depuis le déclenchement, ms",
    "study.column.start": "début",
    "study.column.kind": "nature",
    "study.column.extreme": "extrême, % de la référence",
    "study.missing": "non disponible : {reason}",
    "study.day.0": "lun",
    "study.day.1": "mar",
    "study.day.2": "mer",
    "study.day.3": "jeu",
    "study.day.4": "ven",
    "study.day.5": "sam",
    "study.day.6": "dim",
}

STUDY: Final[dict[str, str]] = {**_PAGE, **REPORT}
