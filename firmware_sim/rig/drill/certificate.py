"""The certificate of a drill as HTML and PDF."""

# ruff: noqa: E501  (the lines of the page are its own)

from pathlib import Path

from jinja2 import Environment, StrictUndefined, select_autoescape

from firmware_sim.contract.errors import UserError
from firmware_sim.rig.drill.run import Report

PAGE = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Alarm drill</title><style>
@page { size: A4; margin: 14mm; @bottom-right { content: counter(page) " / " counter(pages); font-size: 8pt } }
body { font-family: "DejaVu Sans", Verdana, sans-serif; font-size: 8.5pt; color: #111; background: #fff }
h1 { font-size: 15pt; margin: 0 0 2mm } p { margin: 1mm 0 }
.simulated { border: 1.5pt solid #111; padding: 2mm; font-weight: bold }
.failed { font-weight: bold; text-decoration: underline }
table { border-collapse: collapse; width: 100%; margin-top: 4mm } thead { display: table-header-group }
th, td { border-bottom: .4pt solid #888; padding: .8mm 1.2mm; text-align: left; vertical-align: top }
td.n { text-align: right; white-space: nowrap } tr { break-inside: avoid } small { color: #444 }
</style></head><body>
<h1>Alarm drill</h1>
{% if report.emulated %}<p class="simulated">SIMULATED. Drilled on an emulated module: the converter's input and
the pins of lamps and sounder are emulated. This proves the firmware, not a real module; drill each real one.</p>
{% else %}<p class="simulated">Stimuli were applied by hand; delays include a person's reaction.</p>{% endif %}
<p>A research and prototyping tool. Not a medical device, never the only or the primary alarm. A row that passed
says what was tried, not that a patient is safe: watch the patient.</p>
<p>Passed {{ report.passed }}, failed {{ report.failed }}, not tried {{ not_tried }} of {{ report.rows|length }} rows.
{{ when }}</p>
<p>Firmware digest {{ report.firmware_digest }} · settings digest {{ report.settings_digest }}
({{ report.settings_named }})</p>
<p>Allowed = on-delay + one period of the channel (or one breath) + 0.2 s + the measurement's own lag, which is
disclosed with its reason. Over 10 s stands in bold.</p>
<table><thead><tr><th>row</th><th>priority</th><th>on-delay, s</th><th>lag, s</th><th>allowed, s</th>
<th>measured, s</th><th>result</th><th>checks</th></tr></thead><tbody>
{% for row in report.rows %}<tr><td>{{ row.name.replace("_", " ") }}</td><td>{{ row.priority }}</td>
{% if row.result == "not tried" %}<td colspan="4"></td><td>not tried</td><td>{{ row.why }}</td>
{% else %}<td class="n">{{ "%.1f"|format(row.on_delay_s) }}</td><td class="n">{{ "%.1f"|format(row.lag_s) }}</td>
<td class="n">{{ "%.1f"|format(row.allowed_s or 0) }}</td>
<td class="n">{% if row.measured_s is none %}–{% elif row.measured_s > 10 %}<b>{{ "%.1f"|format(row.measured_s) }}</b>
{% else %}{{ "%.1f"|format(row.measured_s) }}{% endif %}</td>
<td{% if row.result == "failed" %} class="failed"{% endif %}>{{ row.result }}</td>
<td>{% for check in row.checks %}{% if check.held %}{{ check.name }}{% else %}<span class="failed">{{ check.name }}:
failed{% if check.seen %} ({{ check.seen }}){% endif %}</span>{% endif %}{% if not loop.last %}, {% endif %}
{% endfor %}{% if row.why %}<br><small>lag: {{ row.why }}</small>{% endif %}</td>{% endif %}</tr>
{% endfor %}</tbody></table></body></html>
"""


def html(report: Report, when: str) -> str:
    """Return the certificate as one HTML page; `when` is the time in words."""
    environment = Environment(autoescape=select_autoescape(default=True), undefined=StrictUndefined)
    not_tried = len(report.rows) - report.passed - report.failed
    return environment.from_string(PAGE).render(report=report, when=when, not_tried=not_tried)


def free(path: Path) -> tuple[Path, Path]:
    """Return PATH.html and PATH.pdf; raise UserError when one is there already."""
    both = path.with_suffix(".html"), path.with_suffix(".pdf")
    for one in both:
        if one.exists():
            raise UserError(f"{one} is there already and stays as it is; name another with --out.")
    return both


def write(report: Report, path: Path, when: str) -> tuple[Path, Path]:
    """Write PATH.html and PATH.pdf; return both."""
    from weasyprint import HTML

    text = html(report, when)
    web, printed = free(path)
    web.write_text(text, encoding="utf-8")
    printed.write_bytes(HTML(string=text).write_pdf())
    return web, printed
