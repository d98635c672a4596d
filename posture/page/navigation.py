"""The pages that a clinic has open all day, and the way between them."""

from __future__ import annotations

import streamlit as st

from posture.page import children, corner, main
from posture.page.style import CSS

NEW, CHILDREN, COMPUTER = "New clip", "Children", "This computer"

BAR = """<style>
[data-testid="stMainBlockContainer"] { padding-top: 4.2rem; }
[data-testid="stHeader"] { background: #fbfbf9; }
[data-testid="stTopNavLink"] span { font-size: 1.08rem; }
</style>"""
"""Room for the bar above the page."""


def draw() -> None:
    """Draw the page that is open; the script of the server calls it at every change."""
    st.set_page_config(page_title="Head posture", layout="centered")
    st.html(f"{CSS}{BAR}")
    main.refuse_other_addresses()
    pages = [
        st.Page(main.draw, title=NEW, url_path="new", default=True),
        st.Page(children.draw, title=CHILDREN, url_path="children"),
        st.Page(corner.draw, title=COMPUTER, url_path="computer"),
    ]
    st.session_state["page-of-children"] = pages[1]
    st.navigation(pages, position="top").run()
