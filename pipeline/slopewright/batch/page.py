"""summary.html: what needs a person's look first; one static file, no scripts, nothing from elsewhere."""

from __future__ import annotations

import html
import urllib.parse
from collections import Counter
from collections.abc import Iterator, Sequence

from ..report.text import plain_text
from ..units import feet_from_m
from .entry import folder_name
from .gates import NOT_MEASURED, Gates
from .row import MEASURED, Row

LENGTHS = ("eave", "rake", "ridge", "hip", "valley")
HEADINGS = (
    "Roof",
    "Why",
    "Area",
    "± %",
    "Pitch",
    "Seen",
    "Planes",
    "Eaves",
    "Rakes",
    "Ridges",
    "Hips",
    "Valleys",
    "Files",
)
NUMERIC_FROM, FILES_AT = 2, len(HEADINGS) - 1  # columns set to the right; the last one is not
STATUS_WORDS = {
    "ok": "certified",
    "not_certified": "not certified",
    "refused": "input refused",
    "failed": "failed",
    "memory": "too much memory",
    "timeout": "too long",
    "crashed": "crashed",
}
POLICY = "default-src 'none'; style-src 'unsafe-inline'"  # nothing is loaded, nothing runs
STYLE = """
:root { color-scheme: light; }
body { font: 16px/1.45 system-ui, sans-serif; color: #1a1a1a; background: #fff; }
body { margin: 1.5rem; max-width: 90rem; }
h1 { font-size: 1.5rem; margin: 0 0 .5rem; } h2 { font-size: 1.15rem; margin: 2rem 0 .25rem; }
p { margin: .25rem 0; max-width: 50rem; }
dl { display: flex; flex-wrap: wrap; gap: 0 2.5rem; margin: 1rem 0; }
dl div { min-width: 8rem; } dt { color: #4a4a4a; }
dd { margin: 0; font-size: 1.75rem; font-variant-numeric: tabular-nums; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; font-size: .9rem; }
caption { text-align: left; color: #4a4a4a; padding: .25rem 0; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0; }
th, td { border-bottom: 1px solid #c8c8c8; }
thead th { border-bottom: 2px solid #1a1a1a; white-space: nowrap; }
tbody th { font-weight: 600; overflow-wrap: anywhere; min-width: 6rem; max-width: 16rem; }
td.why { min-width: 14rem; max-width: 34rem; overflow-wrap: anywhere; }
.n { text-align: right; white-space: nowrap; }
a { color: #003a70; }
a:focus-visible, .scroll:focus-visible { outline: 3px solid #003a70; outline-offset: 2px; }
.skip { position: absolute; left: -99rem; } .skip:focus { position: static; }
@media print { body { margin: 0; max-width: none; font-size: 10px; } .scroll { overflow: visible; } }
"""


def summary_page(
    rows: Sequence[Row],
    stopped: Sequence[Sequence[str]],
    gates: Gates,
    *,
    metric: bool = False,
    drawn: bool = True,
) -> bytes:
    """The page that a person opens first.

    Parameters
    ----------
    rows : sequence of Row
    stopped : sequence of sequence of str
        By row, the rules that call for a look.
    gates : Gates
    metric : bool
        Square metres and metres, not squares and feet.
    drawn : bool
        Whether the run folders hold a report to link to.

    Returns
    -------
    bytes
        HTML, the same for the same rows.  Every text that a file or a person gave is escaped.
    """
    pairs = list(zip(rows, stopped, strict=True))
    groups = [
        ("unmeasured", "Not measured", "No result: see why, put it right, and give the same command again.",
         [pair for pair in pairs if pair[0].status not in MEASURED]),
        ("look", "Need a look", "Measured, and stopped by a rule. The widest bounds stand first.",
         sorted((p for p in pairs if p[0].status in MEASURED and p[1]), key=_urgency)),
        ("pass", "May pass without a look", f"No rule of the gates “{_safe(gates.name)}” stopped them.",
         [pair for pair in pairs if not pair[1]]),
    ]  # fmt: skip
    parts = [
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
        f"<title>{len(rows):,} roofs measured in a batch</title><style>{STYLE}</style></head><body>",
        '<a class="skip" href="#groups">Skip to the roofs</a>',
        f"<h1>{len(rows):,} roofs</h1><dl>",
        *(
            f'<div><dt><a href="#{key}">{title}</a></dt><dd>{len(of):,}</dd></div>'
            for key, title, _, of in groups
        ),
        "</dl>",
        *_rules(stopped, gates),
        '<main id="groups">',
    ]
    for key, title, text, of in groups:
        parts.append(
            f'<section aria-labelledby="{key}"><h2 id="{key}">{title}: {len(of):,}</h2><p>{text}</p>'
        )
        if of:
            parts += _table(title, of, gates, metric, drawn)
        parts.append("</section>")
    parts.append(
        f"</main><p>Areas are in {'m²' if metric else 'squares of 100 square feet'}, lengths in"
        f" {'metres' if metric else 'feet'}. Bounds are 95 %. Pitch is of the largest plane. All columns:"
        ' <a href="results.csv">results.csv</a>, for maps <a href="results.parquet">results.parquet</a>.</p>'
        "</body></html>\n"
    )
    return "\n".join(parts).encode("utf-8", "replace")


def _rules(stopped: Sequence[Sequence[str]], gates: Gates) -> Iterator[str]:
    """How many roofs each rule stopped, and why there is such a rule."""
    counts = Counter(name for names in stopped for name in names)
    if not counts:
        return
    yield '<section aria-labelledby="rules"><h2 id="rules">What stopped them</h2>'
    yield '<div class="scroll" tabindex="0" role="region" aria-labelledby="rules"><table><thead><tr>'
    yield '<th scope="col">Rule</th><th scope="col" class="n">Roofs</th>'
    yield '<th scope="col">Why there is such a rule</th></tr></thead><tbody>'
    whys = {NOT_MEASURED: "there is no result", **{rule.name: rule.why for rule in gates.rules}}
    for name, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])):
        cells = f'<td class="n">{count:,}</td><td>{_safe(whys[name])}</td>'
        yield f'<tr><th scope="row">{_safe(name)}</th>{cells}</tr>'
    yield "</tbody></table></div></section>"


def _table(
    title: str, pairs: Sequence[tuple[Row, Sequence[str]]], gates: Gates, metric: bool, drawn: bool
) -> Iterator[str]:
    yield f'<div class="scroll" tabindex="0" role="region" aria-label="{title}">'
    yield f"<table><caption>{title}</caption><thead><tr>"
    measured = any(row.status in MEASURED for row, _ in pairs)
    for i, heading in enumerate(HEADINGS if measured else HEADINGS[:NUMERIC_FROM]):
        yield f'<th scope="col"{_class(i)}>{heading}</th>'
    yield "</tr></thead><tbody>"
    for row, rules in pairs:
        cells = _cells(row, rules, gates, metric, drawn)
        yield f'<tr><th scope="row">{_safe(row.id)}</th>' + "".join(
            f"<td{_class(i)}>{cell}</td>" for i, cell in enumerate(cells, start=1)
        )
        yield "</tr>"
    yield "</tbody></table></div>"


def _class(column: int) -> str:
    if column == 1:
        return ' class="why"'
    return ' class="n"' if NUMERIC_FROM <= column < FILES_AT else ""


def _cells(row: Row, rules: Sequence[str], gates: Gates, metric: bool, drawn: bool) -> list[str]:
    why = _why(row, rules, gates)
    if row.status not in MEASURED:
        return [why]
    v = row.values
    area = f"{v['area_m2']:,.1f}" if metric else f"{v['squares']:,.2f}"
    pitch = f"{v['main_rise_in_12']:.1f} in 12"
    lengths = (v[f"{kind}_m"] for kind in LENGTHS)
    shown = [f"{length if metric else feet_from_m(length):,.1f}" if length else "–" for length in lengths]
    folder = "runs/" + urllib.parse.quote(folder_name(row.id))
    name = _safe(row.id)
    links = [("report.pdf", "report"), ("plan.svg", "plan")] if drawn else []
    links.append(("takeoff.csv", "quantities"))
    files = ", ".join(
        f'<a href="{folder}/{file}" aria-label="{word} of {name}">{word}</a>' for file, word in links
    )
    seen, planes = f"{100 * v['observed']:.0f} %", f"{v['planes']:.0f}"
    return [why, area, f"{100 * _share(row):.1f}", pitch, seen, planes, *shown, files]


def _why(row: Row, rules: Sequence[str], gates: Gates) -> str:
    parts = []
    if row.status != "ok":
        parts.append(
            f"<strong>{STATUS_WORDS[row.status]}</strong>" + (f": {_safe(row.reason)}" if row.reason else "")
        )
    for rule in gates.rules:
        if rule.name in rules and rule.status is None:
            told = set(row.warnings) - set(rule.warnings_allowed or ())
            codes = ": " + ", ".join(sorted(told)) if rule.warnings_allowed is not None else ""
            parts.append(_safe(rule.name + codes))
    return "; ".join(parts)


def _share(row: Row) -> float:
    v = row.values
    return (v["area_high_m2"] - v["area_low_m2"]) / 2 / v["area_m2"]


def _urgency(pair: tuple[Row, Sequence[str]]) -> tuple[bool, float, str]:
    return pair[0].status == "ok", -_share(pair[0]), pair[0].id


def _safe(text: str) -> str:
    return html.escape(plain_text(text))
