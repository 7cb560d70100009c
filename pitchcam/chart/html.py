"""The chart as one self-contained HTML page, profiles at true scale in print."""

from __future__ import annotations

from collections.abc import Sequence

from pitchcam.chart.pages import Page
from pitchcam.chart.rows import drill_text
from pitchcam.chart.svg import true_scale

TEMPLATE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Tapping chart</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
body{font:16px/1.35 system-ui,"DejaVu Sans",Arial,sans-serif;margin:1.5rem;color:#111}
section{margin-bottom:2.5rem;break-after:page}
h1{font-size:1.5rem;margin:1.6rem 0 0}p{margin:.2rem 0 .8rem}
.wide{overflow-x:auto}
table{border-collapse:collapse}
th,td{text-align:left;padding:.25rem .8rem .25rem .3rem;white-space:nowrap}
th{border-bottom:2px solid #111;font-weight:600}
tbody tr:nth-child(odd){background:#eee}
td.n{text-align:right;font-variant-numeric:tabular-nums}
td svg{display:block}
h2{font-size:1.1rem;margin:1.2rem 0 .3rem}
@media print{body{margin:0}}
</style></head><body>
{% for page in pages %}<section>{% for part in page.blocks %}<h1>{{ part.title }}</h1>
<p>{{ part.seal }}</p>
<div class="wide"><table><thead><tr><th>size</th><th>pitch mm</th><th>TPI</th><th>major mm</th>
<th>bore mm</th><th>drill, % of thread</th><th>inch drill, % of thread</th>
<th>profile, true scale in print</th></tr></thead><tbody>
{% for r in part.rows %}<tr><td><strong>{{ r.size.designation }}</strong></td>
<td class="n">{{ "%.4g"|format(r.size.pitch_mm) }}</td>
<td class="n">{{ "%.4g"|format(r.size.tpi_value) }}</td>
<td class="n">{{ "%.3f"|format(r.size.basic_major_mm) }}</td>
<td class="n">{{ "%.3f"|format(r.bore_mm) }}</td><td>{{ drill(r.metric) }}</td>
<td>{{ drill(r.inch) }}</td><td>{{ profile(r.size)|safe }}</td></tr>
{% endfor %}</tbody></table></div>{% endfor %}
{% if page.pairs %}<h2>Easily confused, and the one measurement that tells</h2>
<div class="wide"><table><tbody>
{% for p in page.pairs %}<tr><td><strong>{{ p.first.designation }}</strong></td>
<td><strong>{{ p.second.designation }}</strong></td><td>{{ p.measurement }}</td>
<td>{{ p.values[0] }}</td><td>{{ p.values[1] }}</td></tr>
{% endfor %}</tbody></table></div>{% endif %}</section>
{% endfor %}<p>* the hole lies outside the limits of the usual class. Diameters are basic ones; of a
taper thread at its gauge plane.</p></body></html>
"""


def render(pages: Sequence[Page]) -> str:
    """Return the page as text."""
    from jinja2 import Environment

    template = Environment(autoescape=True).from_string(TEMPLATE)
    return template.render(pages=pages, drill=drill_text, profile=true_scale) + "\n"
