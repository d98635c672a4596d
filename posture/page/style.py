"""How the page looks, and the one way in which text of a user or a file reaches it."""

from __future__ import annotations

import html
import re

CSS = """<style>
[data-testid="stMainBlockContainer"] { max-width: 900px; padding-top: 2rem; padding-bottom: 3rem; }
[data-testid="stHeader"] { background: transparent; }
.p-title { font-size: 2.3rem; font-weight: 650; letter-spacing: -.01em; line-height: 1.2; margin: 0 0 .3rem; }
.p-lead { font-size: 1.2rem; line-height: 1.5; color: #45575e; margin: 0; }
.p-step { display: flex; align-items: center; gap: .7rem; font-size: 1.45rem; font-weight: 600; margin: 1.4rem 0 0; }
.p-step b { flex: none; width: 2.1rem; height: 2.1rem; border-radius: 50%; background: #1f5f78; color: #fff; font-size: 1.1rem;
  display: inline-flex; align-items: center; justify-content: center; }
.p-note { font-size: 1.02rem; line-height: 1.5; color: #45575e; margin: 0; }
.p-said { border-left: 5px solid #1f5f78; background: #fff; border-radius: 6px; padding: 1.1rem 1.4rem; }
.p-said p { font-size: 1.18rem; line-height: 1.5; margin: .35rem 0 0; }
.p-said p:first-child { font-size: 1.6rem; line-height: 1.35; font-weight: 600; margin: 0; }
.p-blocks { display: grid; grid-template-columns: repeat(auto-fit, minmax(230px, 1fr)); gap: .9rem; }
.p-block { background: #fff; border: 1px solid #d8e0e1; border-radius: 6px; padding: .9rem 1.1rem; }
.p-block h3 { font-size: 1rem; font-weight: 600; color: #45575e; margin: 0; padding: 0; }
.p-block p { font-size: 1.32rem; line-height: 1.3; font-weight: 600; margin: .35rem 0; }
.p-block small { display: block; font-size: 1rem; line-height: 1.4; color: #45575e; }
.p-person { line-height: 1.35; min-height: 13.2rem; background: #fff; border: 1px solid #d8e0e1; border-radius: 6px;
  padding: 15px 14px .7rem; }
.p-chosen { border-color: #1f5f78; box-shadow: 0 0 0 2px #1f5f78; }
.p-person b, .p-person span, .p-person em { display: block; }
.p-person b { font-size: 1.1rem; font-weight: 600; margin-top: .6rem; }
.p-person span, .p-person em { font-size: .95rem; color: #45575e; } .p-person em { color: #855300; font-style: normal; }
.p-portrait { width: 120px; height: 120px; border-radius: 4px; background: #e2e8e8; color: #45575e; display: flex;
  align-items: center; justify-content: center; object-fit: cover; }
[class*="st-key-person-"] { margin-top: .5rem; }
[class*="st-key-person-"] button p { font-size: 1rem; }
[class*="st-key-person-"] button:disabled { color: #1f5f78 !important; border-color: transparent !important;
  background: transparent !important; }
[class*="st-key-person-"] button:disabled p { font-weight: 600; }
.p-head { font-size: 1.3rem; font-weight: 600; margin: 1.2rem 0 0; }
.p-checks { list-style: none; margin: .4rem 0 0 !important; padding: 0 !important; font-size: 1.08rem; line-height: 1.45; }
.p-checks li { display: grid; grid-template-columns: 1.6rem 5.6rem 1fr; padding: .5rem 0 !important;
  border-top: 1px solid #e2e8e8; margin: 0 !important; }
.p-checks b { font-weight: 600; }
.p-fail b, .p-fail i { color: #9b1c1c; } .p-warn b, .p-warn i { color: #855300; } .p-pass b, .p-pass i { color: #22613f; }
.p-checks i { font-style: normal; font-weight: 700; }
.p-small { font-size: .95rem; line-height: 1.5; color: #45575e; border-top: 1px solid #d8e0e1; padding-top: 1rem;
  margin-top: 1.5rem; overflow-wrap: anywhere; }
[data-testid="stRadio"] label p, [data-testid="stWidgetLabel"] p, [data-testid="stExpander"] summary p,
[data-testid="stProgress"] p, [data-testid="stButtonGroup"] button p, [data-testid="stDownloadButton"] p { font-size: 1.05rem; }
[data-testid="stBaseButton-primary"] { min-height: 3.2rem; min-width: 12rem; }
[data-testid="stBaseButton-primary"] p { font-size: 1.25rem; font-weight: 600; }
[data-testid="stAlert"] p { font-size: 1.1rem; }
</style>"""

SHOW_OUTCOME = """<script>document.getElementById("outcome")?.scrollIntoView({behavior: "smooth"});</script>"""
"""Brings a new result into view; below the questions it would be missed."""

_MARKUP = re.compile(r"([\\`*_{}\[\]<>#+!|~$:&@^=-])")
"""All that markdown, its formulas, its colours and its pictures begin with."""

_ADDRESS = re.compile(r"(https?(?=:)|www(?=\.)|@)", re.IGNORECASE)
"""What an address in plain text begins with, or holds: the browser's markdown makes a link of it whatever is escaped."""

NO_BREAK = "\u2060"
"""A letter without width that may stand anywhere in a text; after it an address is none any more."""


def tag(name: str, text: str, style: str = "") -> str:
    """An HTML element with escaped text.

    Parameters
    ----------
    name : str
        Of the element.
    text : str
        Anything.
    style : str
        A class of `CSS`.
    """
    attribute = f' class="{html.escape(style)}"' if style else ""
    return f"<{name}{attribute}>{html.escape(text)}</{name}>"


def no_markup(text: str) -> str:
    """Text for the functions that read markdown, every sign of markup escaped: no picture is fetched, no link is made.

    Parameters
    ----------
    text : str
        Anything.
    """
    return _MARKUP.sub(r"\\\1", _ADDRESS.sub(rf"\1{NO_BREAK}", " ".join(text.split())))
