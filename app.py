"""Start with ``streamlit run app.py``; the page itself is in the package."""

from posture.page.navigation import draw

draw()
