"""The style sheet of the HTML report: our paper, ink and type; one column on a phone, A4 in print."""

from __future__ import annotations

from ...render.style import FAINT, INK, PAPER, RULE

WHITE = "#FFFFFF"
PANEL = "#F3F1EA"
CAUTION_PAPER, CAUTION_EDGE = "#FBF1DC", "#9A5B00"
LINK = "#12345C"

#: Text and ground colours that meet on the page; a test holds their contrast.
TEXT_ON_GROUND = (
    (INK, PAPER),
    (INK, PANEL),
    (INK, CAUTION_PAPER),
    (INK, WHITE),
    (FAINT, PAPER),
    (FAINT, WHITE),
    (LINK, PAPER),
    (LINK, WHITE),
    (CAUTION_EDGE, CAUTION_PAPER),
)

NARROW_PX = 640

STYLE = f"""
:root {{ color-scheme: light; }}
* {{ box-sizing: border-box; }}
html {{ -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }}
body {{ margin: 0; background: {PAPER}; color: {INK}; overflow-wrap: anywhere;
  font: 1rem/1.55 "DejaVu Sans", Verdana, "Segoe UI", Roboto, sans-serif; }}
main, header, footer {{ max-width: 64rem; margin: 0 auto; padding: 0 1.25rem; }}
h1, h2, h3 {{ font-family: "DejaVu Serif", Georgia, "Times New Roman", serif; font-weight: 500; line-height: 1.25; }}
h1 {{ font-size: 1.9rem; margin: 2rem 0 .5rem; }}
h2 {{ font-size: 1.4rem; margin: 2.6rem 0 .8rem; padding-top: .7rem; border-top: 1px solid {RULE}; }}
h3 {{ font-size: 1.1rem; margin: 1.6rem 0 .5rem; }}
p, ul, ol {{ margin: .6rem 0; max-width: 46rem; }}
ul, ol {{ padding-left: 1.5rem; }}
li {{ margin: .35rem 0; }}
a {{ color: {LINK}; }}
.lead, .faint, figcaption {{ color: {FAINT}; }}
.lead {{ margin: .15rem 0; }}
.faint, figcaption {{ font-size: .875rem; line-height: 1.45; }}
nav ul {{ list-style: none; padding: 0; margin: 1.2rem 0 0; display: flex; flex-wrap: wrap; gap: .2rem 1.2rem;
  max-width: none; }}
nav li {{ margin: 0; }}
nav a {{ display: inline-block; padding: .3rem 0; }}
.verdict {{ background: {PANEL}; border-left: .5rem solid; padding: 1rem 1.25rem; font-size: 1.2rem;
  line-height: 1.45; max-width: none; margin: 1rem 0; font-weight: 600; }}
.pictures {{ display: grid; grid-template-columns: repeat(var(--columns), minmax(0, 1fr)); gap: 1.2rem;
  margin: 1rem 0; }}
figure {{ margin: 0; }}
img {{ display: block; max-width: 100%; height: auto; }}
.pictures img {{ width: 100%; }}
figcaption {{ margin-top: .4rem; }}
table {{ border-collapse: collapse; width: 100%; margin: .8rem 0; font-size: .875rem; line-height: 1.4;
  overflow-wrap: break-word;
  font-variant-numeric: tabular-nums; }}
caption {{ text-align: left; font-weight: 600; padding-bottom: .4rem; }}
th, td {{ text-align: left; vertical-align: top; padding: .35rem .8rem .35rem 0; border-bottom: 1px solid {RULE}; }}
th {{ font-weight: 600; }}
.swatch {{ display: inline-block; width: .7em; height: .7em; margin-right: .45em; }}
.cautions {{ background: {CAUTION_PAPER}; border: 2px solid {CAUTION_EDGE}; padding: .4rem 1.25rem; margin: 1rem 0; }}
summary {{ padding: .4rem 0; cursor: pointer; }}
footer {{ padding: 1rem 1.25rem 2.5rem; }}
@media screen and (max-width: {NARROW_PX}px) {{
  main, header, footer {{ padding-left: 1rem; padding-right: 1rem; }}
  h1 {{ font-size: 1.55rem; }}
  h2 {{ font-size: 1.25rem; }}
  .verdict {{ font-size: 1.05rem; padding: .8rem 1rem; }}
  .pictures {{ grid-template-columns: minmax(0, 1fr); }}
  .cards thead {{ display: none; }}
  .cards tbody, .cards caption {{ display: block; }}
  .cards tr {{ display: block; padding: .5rem 0; border-bottom: 1px solid {RULE}; }}
  .cards td {{ display: grid; grid-template-columns: 9rem minmax(0, 1fr); gap: .6rem; border: 0; padding: .12rem 0; }}
  .cards td::before {{ content: attr(data-label); color: {FAINT}; }}
  .cards td:first-child {{ font-weight: 600; }}
  .cards td.empty {{ display: none; }}
}}
@page {{ size: A4; margin: 16mm 15mm 18mm; }}
@media print {{
  html {{ font-size: 9.5pt; }}
  body {{ background: {WHITE}; print-color-adjust: exact; -webkit-print-color-adjust: exact; }}
  main, header, footer {{ max-width: none; padding: 0; }}
  nav, details {{ display: none; }}
  h1 {{ margin-top: 0; }}
  p, ul, ol {{ max-width: none; }}
  h1, h2, h3, caption {{ break-after: avoid; }}
  p, li {{ orphans: 3; widows: 3; }}
  figure, tr, .pictures, .verdict, .cautions {{ break-inside: avoid; }}
  p:has(+ .pictures) {{ break-after: avoid; }}
  thead {{ display: table-header-group; }}
}}
"""
