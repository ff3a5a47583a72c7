"""One self-contained page: no script, no outside request, light and dark."""

from .gather import Evidence, Record
from .section_clips import recorded
from .section_dials import dials
from .section_opening import limits_of_evidence, opening
from .section_people import people
from .section_shake import shake
from .section_steps import double_steps
from .section_tracking import manual_control

STYLE = """
:root{color-scheme:light dark;--bg:#fbfbf9;--ink:#1c1f23;--soft:#5d646d;--rule:#dcdfe3;
--band:#2f7fd61a;--c0:#1f6fc4;--c1:#c2571a;--c2:#1a8a6b;--c3:#8a4fc0;--c4:#7c7f86}
@media(prefers-color-scheme:dark){:root{--bg:#15171a;--ink:#e6e8ea;--soft:#9aa2ab;
--rule:#31363c;--band:#6db1ff22;--c0:#62a8f5;--c1:#f09a5c;--c2:#4fc9a4;--c3:#bf93f0;
--c4:#9a9da4}}
body{margin:0;background:var(--bg);color:var(--ink);
font:15px/1.5 system-ui,-apple-system,"Segoe UI",sans-serif}
main{max-width:1120px;margin:0 auto;padding:28px 20px 60px}
h1{font-size:26px;line-height:1.25;margin:0 0 8px}h2{font-size:20px;margin:44px 0 8px;
padding-top:14px;border-top:1px solid var(--rule)}h3{font-size:16px;margin:24px 0 6px}
p,li{max-width:76ch}small,.soft{color:var(--soft)}
.row{display:flex;flex-wrap:wrap;gap:16px}.row figure{flex:1 1 300px}
.small figure{flex:1 1 230px}
figure{margin:12px 0;min-width:0}figcaption{font-weight:600;font-size:14px}
.key{font-size:12.5px;color:var(--soft);display:flex;flex-wrap:wrap;gap:2px 14px}
.key i{font-style:normal;color:var(--ink);margin-left:5px}
svg{width:100%;height:auto;display:block}svg text{fill:var(--soft);font-size:11px}
svg .label{font-size:12px;fill:var(--ink)}.grid{stroke:var(--rule);stroke-width:1}
.band{fill:var(--band)}
polyline{fill:none;stroke-width:1.8}circle{stroke:var(--bg);stroke-width:1}
.one{max-width:720px}.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:12.5px;margin:10px 0;
font-variant-numeric:tabular-nums}
th,td{text-align:right;padding:3px 7px;border-bottom:1px solid var(--rule);
white-space:nowrap}th{vertical-align:bottom;white-space:normal;min-width:3.6em;
font-weight:600}
th:first-child,td:first-child,th.t,td.t{text-align:left}.in{color:var(--c2);font-weight:600}
.out{color:var(--c1)}summary{cursor:pointer;color:var(--soft)}
""" + "".join(
    f".l{k}{{stroke:var(--c{k})}}.d{k}{{fill:var(--c{k})}}.c{k}{{color:var(--c{k})}}"
    for k in range(5)
)


def page(evidence: Evidence, tables: dict[str, list[Record]]) -> str:
    """Return the whole page."""
    parts = [
        opening(evidence),
        manual_control(evidence, tables),
        people(evidence, tables),
        double_steps(evidence),
        recorded(evidence),
        dials(evidence),
        shake(evidence),
        limits_of_evidence(),
    ]
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        "<title>Evidence: the crew measured</title>"
        f"<style>{STYLE}</style></head><body><main>{''.join(parts)}</main></body></html>\n"
    )
