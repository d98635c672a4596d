"""What the server runs: the page, drawn once for every change that a user makes."""

from posture.page.main import draw

draw()
