"""English of the page Set-up and the check sheet; words of the steps come from the analysis."""

from typing import Final

from dashboard.texts.english_upkeep import UPKEEP
from ingest.analysis.evidence_words import WORDS as EVIDENCE
from ingest.analysis.guided.words import WORDS

SETUP: Final[dict[str, str]] = {
    "nav.setup": "Set-up",
    "setup.title": "Set-up",
    "setup.lead": "What is proven, what is due, what to look at first. A step passed then proves nothing "
    "now.",
    "setup.never": "never done",
    "setup.begun": "begun {when}",
    "setup.complete": "all steps passed by {when}",
    "setup.begin": "Begin anew",
    "setup.step": "Begin: {step}",
    "setup.begin_step": "Begin",
    "setup.again_step": "Again",
    "setup.open": "Step open since {clock}",
    "setup.again": "Once more: nobody is on the circuit",
    "setup.take": "Write the result down",
    "setup.yes": "Yes, it was right",
    "setup.no": "No",
    "setup.finish": "End the test here",
    "setup.stop": "Leave this step",
    "setup.who": "Initials",
    "setup.second_source": "A second source stands ready and is tried",
    "setup.bad_who": "Write your initials first.",
    "setup.failed": "Not done: {reason}",
    "setup.done": "Written down.",
    "setup.sheet": "Sheet to print",
    "setup.pdf": "as PDF",
    "setup.state.passed": "passed",
    "setup.state.failed": "failed",
    "setup.state.waiting": "not yet",
    "setup.state.not_done": "not done",
    "setup.figure": "{value} {unit}",
    "setup.at": "{when}, {who}",
    "setup.answer_late": "The module gave no answer in time; look at the module.",
    "sheet.title": "{list}, {when}",
    "sheet.where": "{place}, module {module}",
    "sheet.step": "Step",
    "sheet.result": "Result",
    "sheet.figure": "Figure",
    "sheet.how": "What was seen",
    "sheet.when": "When, who",
    "sheet.due": "Discharge test due again on {date}.",
    "sheet.caution": "Measured by the module or said by a person, at the times given; it proves nothing "
    "about "
    "later. A research and prototyping tool, not a medical device.",
    **WORDS,
    **EVIDENCE,
    **UPKEEP,
}
