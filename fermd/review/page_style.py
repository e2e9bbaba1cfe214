"""How the page of a review looks: light or dark, for a desk, a phone and paper."""

from __future__ import annotations

PAGE_STYLE = """
*{box-sizing:border-box}
body{margin:0;background:var(--ground);color:var(--ink);font:16px/1.5 system-ui,sans-serif}
main{max-width:1024px;margin:0 auto;padding:1.2rem 1rem 3rem}
header{border-top:6px solid var(--beer);padding-top:.8rem;margin-bottom:1.2rem}
h1{font-size:1.6rem;line-height:1.2;margin:0 0 .3rem}
h2{font-size:1.05rem;margin:2rem 0 .6rem;letter-spacing:.01em}
p{margin:.3rem 0}.soft{color:var(--soft)}
.tiles{display:grid;grid-template-columns:repeat(auto-fit,minmax(210px,1fr));
gap:.7rem;margin:1rem 0}
.tile{background:var(--card);border:1px solid var(--line);border-radius:6px;padding:.6rem .8rem}
.tile b{display:block;font-size:1.35rem;line-height:1.25;font-variant-numeric:tabular-nums}
.tile span{color:var(--soft);font-size:.85rem;display:block;line-height:1.3}
figure{margin:.8rem 0;background:var(--card);border:1px solid var(--line);border-radius:6px;
padding:.4rem}
figcaption{color:var(--soft);font-size:.85rem;padding:.2rem .4rem .3rem}
.key{display:inline-block;margin-right:.9em}
.key i{display:inline-block;width:1.5em;height:.7em;margin-right:.35em;vertical-align:-.02em}
.key i.dashed{height:0;vertical-align:.25em;background:none!important;border-top:2px dashed}
.narrow{display:none!important}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-size:.92rem;font-variant-numeric:tabular-nums}
th{color:var(--soft);font-weight:500;text-align:right;padding:.25rem .6rem;
border-bottom:1px solid var(--line)}
td{text-align:right;padding:.3rem .6rem;border-bottom:1px solid var(--line);white-space:nowrap}
th:first-child,td:first-child{text-align:left;padding-left:0;white-space:normal}
dl{display:grid;grid-template-columns:minmax(5.5rem,max-content) 1fr;gap:.35rem 1rem;margin:0}
dt{color:var(--soft);font-variant-numeric:tabular-nums}dd{margin:0;overflow-wrap:anywhere}
.paper{display:none}details summary{cursor:pointer;color:var(--soft)}
footer{margin-top:2.5rem;color:var(--soft);font-size:.85rem;
border-top:1px solid var(--line);padding-top:.6rem}
@media (max-width:620px){.wide{display:none!important}.narrow{display:block!important}
main{padding:.8rem .7rem 2rem}h1{font-size:1.3rem}
.tiles{grid-template-columns:1fr 1fr}
th,td{padding:.3rem .35rem;white-space:normal}
.many,.many tbody,.many tr,.many td{display:block}.many tr:first-child{display:none}
.many tr{padding:.4rem 0;border-bottom:1px solid var(--line)}
.many td{display:flex;justify-content:space-between;border:0;padding:.05rem 0}
.many td:not(:first-child)::before{content:attr(data-head);color:var(--soft)}
.many td:first-child{font-weight:600}
dl{grid-template-columns:1fr;gap:.1rem}dt{margin-top:.5rem}dd{margin-left:0}}
@media print{body{font-size:10.5pt}main{max-width:none;padding:0}.tile,figure{break-inside:avoid}
.narrow{display:none!important}.wide{display:block!important}h2{break-after:avoid}
details{display:none}.paper{display:block;margin-top:.35rem}.scroll{overflow:visible}}
"""
