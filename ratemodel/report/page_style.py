"""How pages look: system fonts, two colour schemes, nothing wider than the screen."""

from __future__ import annotations

CSS = """
:root{--ink:#1a1a1a;--soft:#4a4f55;--paper:#ffffff;--line:#c9ced4;--wash:#f3f5f7;
--mark:#9a3b00;--warn:#fff4e5;--alarm:#fdeaea;--alarm-ink:#8c1515}
@media (prefers-color-scheme:dark){:root{--ink:#e8eaed;--soft:#b4bac1;--paper:#16181b;
--line:#454b52;--wash:#202429;--mark:#ffb074;--warn:#33271a;--alarm:#3a1f20;--alarm-ink:#ff9d9d}}
*{box-sizing:border-box}
html{-webkit-text-size-adjust:100%}
body{margin:0;background:var(--paper);color:var(--ink);
font:16px/1.5 system-ui,-apple-system,"Segoe UI",Roboto,"DejaVu Sans",sans-serif;
overflow-wrap:anywhere}
main{max-width:60rem;margin:0 auto;padding:1.25rem 1rem 3rem}
h1{font-size:1.7rem;line-height:1.2;margin:.4em 0}
h2{font-size:1.3rem;margin:2em 0 .5em;padding-top:.6em;border-top:1px solid var(--line)}
h3{font-size:1.08rem;margin:1.5em 0 .4em}
p,ul{margin:.6em 0;max-width:46rem}
ul{padding-left:1.2rem}
.lead{font-size:1.15rem;font-weight:600}
.small{color:var(--soft);font-size:.9rem}
.caution,.serious{padding:.6rem .8rem;border-left:4px solid var(--mark);background:var(--warn);
font-size:.95rem}
.caution strong{color:var(--mark)}
.serious{border-color:var(--alarm-ink);background:var(--alarm)}
.serious strong{color:var(--alarm-ink)}
.scroll{overflow-x:auto;margin:1em 0;border:1px solid var(--line);border-radius:4px}
.scroll:focus-visible{outline:3px solid var(--mark)}
table{border-collapse:collapse;width:max-content;min-width:100%;font-size:.92rem;
overflow-wrap:normal}
td,th{max-width:20rem}
caption{max-width:min(92vw,60rem)}
caption{text-align:left;font-weight:600;padding:.5rem .7rem;background:var(--wash)}
th,td{padding:.35rem .7rem;text-align:left;vertical-align:top;border-top:1px solid var(--line)}
thead th{color:var(--soft);font-weight:600}
tbody th{font-weight:500}
.number{text-align:right;white-space:nowrap;font-variant-numeric:tabular-nums}
figure{margin:1.2em 0;overflow-x:auto}
figure:focus-visible{outline:3px solid var(--mark)}
img{width:100%;min-width:40rem;max-width:60rem;height:auto;display:block}
details{margin:1em 0}
summary{cursor:pointer;font-weight:600;padding:.3rem 0}
code{font-size:.9em}
@media print{main{max-width:none}.scroll{overflow:visible}details{display:block}}
"""

# A notebook brings its own colours: only borders and spacing here, text inherits.
FRAGMENT_CSS = """
.ratemodel{max-width:60rem;overflow-wrap:anywhere}
.ratemodel .lead{font-weight:600}
.ratemodel .caution,.ratemodel .serious{border-left:4px solid #c05200;padding:.3em .7em}
.ratemodel .scroll{overflow-x:auto}
.ratemodel table{border-collapse:collapse}
.ratemodel caption{text-align:left;font-weight:600}
.ratemodel th,.ratemodel td{text-align:left;padding:.2em .7em;vertical-align:top}
.ratemodel .number{text-align:right;white-space:nowrap}
.ratemodel img{max-width:100%}
"""
