"""French of the supply study's report: its sections, figures, methods, and what the command says."""

from typing import Final

_SECTIONS: Final[dict[str, str]] = {
    "study.title": "Étude de l'alimentation",
    "study.subtitle": "{site}, {tap} l'onduleur, {start} à {end} ({zone})",
    "study.site": "module n° {number}",
    "study.site_named": "{site}, {bed}, module n° {number}",
    "study.tap.before": "avant",
    "study.tap.after": "après",
    "study.caution": "D'un instrument de recherche et de prototypage étalonné par son utilisateur. Ni "
    "instrument de classe A ou S, ni preuve de conformité à une norme.",
    "study.simulated": "SIMULATED, données simulées. Elles viennent d'un module émulé et d'une alimentation "
    "inventée.",
    "study.record": "Ce qu'il faut dire de cet enregistrement",
    "study.about": "Ce que l'on a dit du lieu",
    "study.record_none": "Rien à signaler : ni lacune, ni changement d'étalonnage, ni événement ouvert.",
    "study.key": "Chiffres",
    "study.key_note": "Chaque chiffre figure avec la part de la période sur laquelle il repose. Les "
    "intervalles sont à 95 % ; les bornes comptent tout le temps non surveillé comme le pire et comme le "
    "meilleur cas.",
    "study.key_short": "Un enregistrement de {whole} est court : les taux par semaine ou par an sont "
    "extrapolés.",
    "study.limits": "Selon EN 50160",
    "study.limits_note": "Respecté ou non respecté seulement là où les valeurs manquantes n'y changeraient "
    "rien. Un enregistrement plus court que la période dont parle une limite est un indice, non un verdict "
    "sur cette période.",
    "study.limits_weeks": "Là où plusieurs semaines ont été jugées, le résultat les dénombre et les chiffres "
    "sont ceux de la pire ; toutes figurent dans limits.csv.",
    "study.dips": "Creux selon la tension résiduelle, surtensions selon la hauteur, et durée (EN 50160)",
    "study.counts": "Dénombrements",
    "study.counts_note": "Dans le temps surveillé seulement (couverture {percent} %).",
    "study.waveforms": "Perturbations dans les formes d'onde",
    "study.waveforms_note": "Formes d'onde gardées autour d'événements : {n} ; creux et surtensions de "
    "l'enregistrement : {all}. Chacune porte le nom de la première règle qui s'applique. Les règles, et la "
    "part des noms justes pour un bruit de 20, 30 et 40 dB, figurent dans hardware_notes/power_quality.md.",
    "study.column.waveforms": "formes d'onde",
    "study.disturbance.lost": "non nommée : des parties manquent",
    "study.ups": "Ce que l'onduleur a vu",
    "study.ups_none": "Aucun état d'alimentation n'a été enregistré : rien ne peut être dit de l'onduleur.",
    "study.equipment": "Ce que les appareils ont traversé",
    "study.equipment_note": "D'après les marques posées : un appareil compte comme ayant traversé un creux "
    "seulement s'il marchait et était observé. Un arrêt revient au dernier creux commencé avant lui et fini "
    "au plus 5 s avant lui.",
    "study.equipment_stray": "Arrêts sans creux avant eux : {count} ; autre cause, ou creux entre les "
    "échantillons.",
    "study.events": "Événements",
    "study.events_cut": "Les {n} plus longs de {all} ; tous figurent dans events.csv.",
    "study.events_none": "Aucun événement enregistré dans le temps surveillé.",
    "study.calibrations": "Tension par étalonnage",
    "study.calibrations_note": "L'étalonnage a changé pendant cette période. Les tensions d'avant et d'après "
    "ne sont jamais réunies en un chiffre.",
    "study.modules": "Vu par plusieurs modules",
    "study.modules_note": "Des événements d'une même nature sont un seul événement quand leurs débuts "
    "s'accordent à l'erreur des deux horloges ({error} s chacune) et à une période près.",
    "study.method": "Méthodes",
    "study.cite": "Pour citer : nightkeel {version}, étude de l'alimentation du {start} au {end}, écrite le "
    "{written}.",
    "study.reason.nominal unknown": "tension nominale inconnue",
    "study.reason.nothing measured": "rien de mesuré",
    "study.reason.calibration changed": "l'étalonnage a changé entre-temps",
    "study.reason.half cycles not kept": "le module n'a gardé aucune demi-période",
    "study.reason.seconds not kept": "ni demi-périodes ni toutes les valeurs de 1 s n'ont été gardées, ou la "
    "période est trop longue pour les lire",
    "study.reason.too short": "enregistrement trop court",
    "study.reason.values missing": "valeurs manquantes",
    "study.reason.interrupted or clipped": "interrompu ou écrêté",
    "study.note.no data": "Aucune donnée dans cette période : rien de ce qui suit n'est un constat.",
    "study.note.nominal unknown": "La tension nominale est inconnue : tout ce qui en est une part manque. "
    "Donnez --reference.",
    "study.note.calibration changed": "L'étalonnage a changé à {at} : les tensions d'avant et d'après sont "
    "séparées.",
    "study.note.gap": "Lacunes : {count}, {span} en tout.",
    "study.note.module dark": "Dont module lui-même éteint : {count} ({span}), temps censuré pendant lequel "
    "l'alimentation a pu manquer.",
    "study.note.gap inside event": "Événements contenant une lacune : {count} ({span}) ; leur extrême a pu "
    "être pire.",
    "study.note.event may have begun in a gap": "Événements qui ont pu commencer dans la lacune qui les "
    "précède : {count}.",
    "study.note.event still open": "Événements qui n'étaient pas finis quand l'enregistrement s'arrête : "
    "{count} ; leur durée est « au moins ».",
    "study.note.event clipped": "Événements ayant atteint la limite de la prise de mesure : {count}, « au "
    "moins ».",
    "study.note.coverage low": "La couverture est sous 90 % : il manque {span}.",
    "study.note.flagged values kept": "Valeurs de 10 min contenant un événement : {count} ; elles sont "
    "gardées et marquées.",
    "study.note.means": "Valeurs de 10 min reposant sur des moyennes de 1 min : {count} ; leurs valeurs de "
    "10/12 périodes ont été retirées de l'enregistrement.",
    "study.note.thresholds": "Changements des seuils ou de la tension nominale du module entre-temps : "
    "{count}.",
    "study.note.reference": "Le module a trouvé les événements selon {nominal} V ; les pour cent d'ici sont "
    "ceux de {reference} V.",
}

_ROWS: Final[dict[str, str]] = {
    "study.row.availability": "alimentation disponible",
    "study.row.outside": "tension de 10 min hors de ±10 %",
    "study.row.mean": "tension efficace",
    "study.row.lowest": "Ueff(1/2) la plus basse",
    "study.row.highest": "Ueff(1/2) la plus haute",
    "study.row.dip": "creux",
    "study.row.swell": "surtensions",
    "study.row.interruption": "coupures",
    "study.row.rapid change": "variations rapides de 5 %",
    "study.row.pst_p95": "papillotement Pst, estimé : 95 % des 10 min restent au-dessous",
    "study.row.pst_greatest": "papillotement Pst, estimé : maximum",
    "study.row.plt": "papillotement Plt, estimé : maximum",
    "study.row.between": "temps moyen entre coupures",
    "study.row.median": "temps médian jusqu'à la coupure suivante (Kaplan-Meier)",
    "study.row.per_year": "coupures par an, comme le SAIFI d'un seul lieu",
    "study.row.minutes_per_year": "minutes coupées par an, comme le SAIDI d'un seul lieu",
    "study.row.short": "coupures brèves, jusqu'à 3 min",
    "study.row.long": "coupures longues",
    "study.row.undecided": "brève ou longue : non décidé, à cause de lacunes",
    "study.row.sag_energy": "somme des énergies de creux (creux rectangulaires : borne haute)",
    "study.row.severity": "plus grande sévérité de creux selon SEMI F47",
    "study.row.semi": "creux sous la courbe SEMI F47",
    "study.row.itic": "région ITIC : {name}",
    "study.row.category": "IEEE 1159 : {name}",
    "study.row.sarfi": "indice SARFI-{x}",
    "study.row.state": "heures : {name}",
    "study.row.transfers": "passages sur énergie stockée",
    "study.row.output_fell": "chutes de la sortie",
    "study.row.longest": "plus long temps sur énergie stockée",
    "study.row.deepest": "décharge la plus profonde",
    "study.row.recharge": "recharge la plus courte entre coupures",
    "study.row.tests": "essais de décharge prouvés",
    "study.row.trend": "évolution des minutes prouvées de batterie par an",
    "study.row.pairs": "vus par les deux",
    "study.row.only": "par {module} seul, l'autre surveillant",
    "study.row.unknown": "par l'un, dans une lacune de l'autre",
    "study.row.offset": "différence médiane des débuts",
    "study.column.figure": "chiffre",
    "study.column.value": "valeur",
    "study.column.interval": "intervalle à 95 % ou bornes",
    "study.column.coverage": "couverture, %",
    "study.column.limit": "limite",
    "study.column.verdict": "résultat",
    "study.column.inside": "dedans, % des valeurs",
    "study.column.bounds": "dedans, % de la période",
    "study.column.residual": "résiduelle",
    "study.column.length": "durée",
    "study.column.cell": "case EN 50160",
    "study.column.itic": "région ITIC",
    "study.column.label": "ce qu'on en dit",
    "study.column.equipment": "appareil",
    "study.column.survived": "creux traversés",
    "study.column.tripped": "creux qui l'ont arrêté",
    "study.column.survived_to": "traversé jusqu'à",
    "study.column.tripped_to": "arrêté jusqu'à",
    "study.column.from": "de",
    "study.column.to": "à",
    "study.verdict.met": "respecté",
    "study.verdict.not met": "non respecté",
    "study.verdict.not decided": "non décidé",
    "study.band.10-min voltage, 95 % of a week": "tension de 10 min, 95 % d'une semaine",
    "study.band.10-min voltage, always": "tension de 10 min, toujours",
    "study.band.10-s frequency, 99·5 % of a year": "fréquence de 10 s, 99,5 % d'une année",
    "study.band.10-s frequency, always": "fréquence de 10 s, toujours",
    "study.band.10-s frequency of an island, 95 % of a week": "fréquence de 10 s d'un réseau isolé, 95 % "
    "d'une semaine",
    "study.band.10-s frequency of an island, always": "fréquence de 10 s d'un réseau isolé, toujours",
    "study.band.Plt of 2 h, 95 % of a week": "papillotement Plt de 2 h (estimé), 95 % d'une semaine",
    "study.band.harmonic": "harmonique {order}, 95 % d'une semaine",
    "study.band.total": "distorsion totale jusqu'au rang {order}, 95 % d'une semaine",
    "study.state.normal": "mode normal",
    "study.state.stored energy": "énergie stockée",
    "study.state.bypass": "dérivation",
    "study.state.dead": "sortie morte",
    "study.state.undetermined": "indéterminé",
    "study.length.ms": "{n} ms",
    "study.length.s": "{n} s",
    "study.outside": "hors du tableau",
}

_DRAWN: Final[dict[str, str]] = {
    "study.figure.voltage": "Tension sur la période : valeur efficace de 10 min, avec la plus petite et la "
    "plus grande Ueff(1/2) de chaque 10 min. Hachuré : non surveillé. Couverture {percent} %.",
    "study.figure.itic": "Amplitude selon la durée, {n} creux et surtensions, avec l'enveloppe ITIC (un "
    "repère fait pour du matériel de 120 V) et SEMI F47. Signes creux : « au moins ». Couverture "
    "{percent} %.",
    "study.figure.curve": "Courbe des durées de la tension de 10 min. Couverture {percent} %.",
    "study.figure.histogram": "Heures dans chaque classe de 2 V de la tension de 10 min. Couverture "
    "{percent} %.",
    "study.figure.week": "Débuts de coupure par heure et jour de semaine ({zone}) ; le nombre est en minutes "
    "sans alimentation. Hachuré : jamais surveillé. Couverture {percent} %.",
    "study.figure.harmonics": "Sous-groupes harmoniques, valeur à 95 % de {n} instantanés de 0,2 s, avec les "
    "limites EN 50160. Des instantanés existent dans {percent} % des intervalles de 10 min.",
    "study.figure.sizing": "Avec tant de minutes de batterie, tant de coupures auraient été franchies, pour "
    "trois fenêtres d'entrée d'un onduleur. Là où les données laissent une durée ouverte, le trait bas "
    "compte la plus longue. Couverture {percent} %.",
    "study.figure.survival": "Part des temps de bonne alimentation qui ont duré davantage (Kaplan-Meier ; le "
    "temps éteint est censuré). Couverture {percent} %.",
    "study.figure.ride": "Ce que les appareils ont traversé, d'après les marques posées. Couverture "
    "{percent} %.",
    "study.axis.time": "heure, {zone}",
    "study.axis.measured": "mesuré, h",
    "study.axis.share": "temps à cette valeur ou plus, %",
    "study.axis.battery": "batterie, minutes",
    "study.axis.ridden": "coupures franchies",
    "study.axis.hours": "temps de bonne alimentation, h",
    "study.axis.lasting": "part qui dure davantage",
    "study.key.rms": "efficace de 10 min",
    "study.key.limits": "nominale ±10 %",
    "study.key.itic": "courbe ITIC",
    "study.key.semi": "courbe SEMI F47",
    "study.key.window": "fenêtre {low} à {high} %",
    "study.key.limit": "limite EN 50160",
    "study.key.measured": "mesuré",
    "study.key.survived": "traversé",
    "study.key.tripped": "arrêté",
    "study.key.trip_limit": "{name} : arrêté jusqu'ici",
}

_METHODS: Final[dict[str, str]] = {
    "study.method.sampling": "La tension {tap} l'onduleur a été échantillonnée à 3,2 kéch/s. Ueff(1/2) "
    "est la "
    "valeur efficace sur une période à partir d'un passage par zéro du fondamental, renouvelée à chaque "
    "demi-période ; les valeurs de 10/12 périodes joignent les demi-périodes sans lacune ni recouvrement ; "
    "les valeurs de 10 min en sont les moyennes quadratiques selon l'horloge UTC (d'après CEI 61000-4-30).",
    "study.method.kept": "Les demi-périodes de toute une période ne sont gardées que si le module a été "
    "réglé "
    "pour les envoyer. Cette étude repose sur des valeurs de 10/12 périodes, événements, instantanés de "
    "forme "
    "d'onde, états et valeurs de 1 s.",
    "study.method.rapid.half cycles": "Variations rapides : à partir des demi-périodes, entre secondes "
    "stables "
    "(toutes les Ueff(1/2) d'une seconde glissante à moins de 5 % de leur moyenne ; hystérésis de moitié) ; "
    "une variation qui atteint un creux ou une surtension est cet événement.",
    "study.method.rapid.seconds": "Variations rapides : à partir des Ueff(1/2) minimale, moyenne et maximale "
    "de secondes entières, selon la règle de 5 % entre secondes stables. Début et fin sont connus à la "
    "seconde ; des variations à moins d'une seconde l'une de l'autre n'en font qu'une ; une dérive de plus "
    "d'une seconde n'en est pas une.",
    "study.method.rapid.": "Les variations rapides ne sont pas disponibles : ni demi-périodes ni toutes les "
    "valeurs de 1 s n'ont été gardées, ou la période dépasse 62 jours.",
    "study.method.flicker": "Papillotement : estimé à partir des demi-périodes par la réponse de la chaîne "
    "CEI 61000-4-15 ({lamp}), l'amortissement des fenêtres d'une période étant compensé ; à {error} % près "
    "sur les fluctuations rectangulaires de la norme, de 1 à 1620 variations par minute. Aveugle au-dessus "
    "de 45 Hz. Un intervalle de 10 min qui contient une coupure n'en a pas.",
    "study.method.flicker_none": "Le papillotement n'est pas disponible : il faut une valeur de demi-période "
    "toutes les 10 ms pendant 11 min sans lacune, et aucune n'a été gardée. Réglez study.half_cycles sur le "
    "module pour les garder.",
    "study.lamp.230 V lamp": "lampe de 230 V",
    "study.lamp.120 V lamp": "lampe de 120 V",
    "study.method.thresholds": "Seuils du module : creux {dip} %, surtension {swell} %, coupure "
    "{interruption} % de la nominale, hystérésis {hysteresis} %, référence fixe. Au-delà de 60 événements en "
    "rafale ou 20 par minute le module n'en garde plus.",
    "study.method.thresholds_none": "Le module n'a jamais annoncé ses seuils.",
    "study.method.stamps": "Un événement dure {convention}. Une coupure est à l'intérieur du creux qui la "
    "porte ; le nombre de creux le compte.",
    "study.convention": "du début de la première fenêtre d'une période au-delà du seuil au début de la "
    "première fenêtre revenue dans l'hystérésis",
    "study.method.reference": "Référence {reference} V, fréquence nominale {hertz} Hz.",
    "study.method.frequency": "Les fréquences de 10 s sont des moyennes des valeurs de 1 s du module ; "
    "au-delà "
    "de 62 jours, des moyennes de 10 min les remplacent.",
    "study.method.harmonics": "Les harmoniques sont des sous-groupes (CEI 61000-4-7) d'instantanés de 10/12 "
    "périodes, rééchantillonnés à la période mesurée, jusqu'au rang {order}, le plus haut que permettent 3,2 "
    "kéch/s. Les instantanés sont des échantillons, non les valeurs agrégées de 10 min de la norme.",
    "study.method.gaps": "Le temps sans données est censuré : il n'ajoute ni événement ni exposition, et "
    "élargit les bornes. Les intervalles viennent d'un bootstrap par blocs de jours (blocs de {blocks} "
    "jours, "
    "graine {seed}, {resamples} tirages).",
    "study.method.clock": "Les heures sont en UTC, estimées par l'hôte à partir des battements du module ; "
    "les événements sont supposés justes à {error} s près.",
    "study.method.states": "Les états de l'onduleur (termes de CEI 62040-3) sont déduits des deux prises, "
    "jamais supposés ; le temps indéterminé ne compte pas comme normal.",
    "study.method.sources": "Tableaux : EN 50160 (citée), IEEE 1159-1995, ITIC 2000, SEMI F47, IEEE "
    "1564 ; le "
    "statut de chaque valeur figure dans le texte source de ingest.analysis.supply.",
    "study.method.version": "nightkeel {version} ; logiciel du module {firmware} ; {origin}.",
    "study.origin.simulated": "données SIMULATED, simulées, d'un module émulé",
    "study.origin.real": "données d'un module réel",
    "study.done": "{files} fichiers sous {folder}.{simulated}",
    "study.progress": "lecture des jours",
    "study.drawing": "dessin et écriture",
    "study.mark": " SIMULATED, données simulées.",
    "study.bad.date": "{text} n'est pas une date ; écrivez 2026-05-11 ou 2026-05-11T18:00.",
    "study.bad.order": "--to {end} n'est pas après --from {start} ; donnez une période qui avance.",
    "study.bad.module": "{store} ne contient pas de module {text} ; il contient {known}.",
    "study.bad.empty": "{store} ne contient aucun module ; enregistrez-y avec nightkeel ingest ou nightkeel "
    "night.",
    "study.bad.no_data": "{store} n'a aucune donnée du module {module} de {start} à {end} ; il en a de "
    "{first} "
    "à {last}.",
    "study.bad.reference": "Une référence de {text} V n'est pas possible ; donnez 50 à 500.",
    "study.bad.zone": "{text} n'est pas un fuseau horaire ; écrivez par exemple Asia/Kolkata.",
    "study.bad.folder": "{folder} est un fichier ; nommez un dossier pour l'étude.",
}

REPORT: Final[dict[str, str]] = {**_SECTIONS, **_ROWS, **_DRAWN, **_METHODS}
