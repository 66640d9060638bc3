"""A plan of recordings as one page: for a phone at the engine, and for paper.

One file without script or anything fetched, in black, white and grey. A step is one block
with a box to tick and its cautions beside what is to be done.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from acoustic.casework.plan import Plan
from acoustic.casework.plan_steps import PlanStep
from acoustic.output.plan_text import HIDDEN_WORDS, LINES_WORDS, head_words, pairs_by_lines

_STYLE = """\
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 46rem; background: #fff; color: #000;
  font: 1.125rem/1.45 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .5rem; }
h2 { font-size: 1.25rem; line-height: 1.25; margin: 0; }
p, ul { margin: .5rem 0; }
ul { padding-left: 1.2rem; }
.step { border: 2px solid #000; margin: 1rem 0; padding: .75rem 1rem; break-inside: avoid; }
.head { display: flex; gap: .75rem; align-items: center; min-height: 44px; }
.head input { width: 2rem; height: 2rem; flex: none; accent-color: #000; }
.do { font-size: 1.25rem; }
.why { color: #444; }
.caution { border-left: .4rem solid #000; background: #eee; margin: .75rem 0 0;
  padding: .5rem .75rem; }
.caution ul { margin: .25rem 0 0; }
.pairs li { margin: .4rem 0; }
@page { size: A4; margin: 14mm; }
@media print {
  body { max-width: none; padding: 0; font-size: 11pt; }
  .do { font-size: 13pt; }
  .caution { background: none; font-size: 10pt; }
  .caution ul { columns: 2; column-gap: 2rem; }
  h2 { break-after: avoid; }
}
"""


def render_plan_page(plan: Plan) -> str:
    """Render a plan as one HTML page that stands alone.

    Names from the layout are escaped. Steps that are done are ticked.
    """
    title, *rest = head_words(plan)
    parts = [
        "<!doctype html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{escape(title)}</title>",
        f"<style>\n{_STYLE}</style></head><body>",
        f"<h1>{escape(title)}</h1>",
        *(f"<p>{escape(words)}</p>" for words in rest),
        *(_step(step) for step in plan.steps),
        *_pairs(plan),
        *_hidden(plan),
        "</body></html>",
    ]
    return "\n".join(parts) + "\n"


def _step(step: PlanStep) -> str:
    checked = " checked" if step.done else ""
    name = f"step-{step.number}"
    title = escape(f"{step.number}. {step.title}")
    why = "".join(f'<p class="why">{escape(words)}</p>' for words in step.why)
    return (
        '<section class="step">\n'
        f'<div class="head"><input type="checkbox" id="{name}"{checked}>'
        f'<label for="{name}"><h2>{title}</h2></label></div>\n'
        f'<p class="do">{escape(step.do)} (about {step.minutes:.0f} min)</p>\n'
        f"{why}\n"
        f'<div class="caution"><strong>Caution</strong>{_listed(step.cautions)}</div>\n'
        "</section>"
    )


def _pairs(plan: Plan) -> list[str]:
    blocks = []
    left_open = [
        f"{pair.first} / {pair.second}: {pair.by}. {pair.words}"
        for pair in plan.pairs
        if pair.by != "lines"
    ]
    if left_open:
        blocks.append("<h2>What tells these pairs apart</h2>")
        blocks.append(f'<div class="pairs">{_listed(left_open)}</div>')
    told = [f"{part} from {', '.join(others)}" for part, others in pairs_by_lines(plan.pairs)]
    if told:
        blocks.append(f"<h2>The other pairs</h2>\n<p>{escape(LINES_WORDS)}</p>")
        blocks.append(f'<div class="pairs">{_listed(told)}</div>')
    return blocks


def _hidden(plan: Plan) -> list[str]:
    if not plan.hidden:
        return []
    named = [f"{one.part}: {'; '.join(one.titles)}" for one in plan.hidden]
    return [
        f"<h2>Hidden at every speed</h2>\n<p>{escape(HIDDEN_WORDS)}</p>",
        f'<div class="pairs">{_listed(named)}</div>',
    ]


def _listed(words: Iterable[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in words)}</ul>"
