"""What the server runs: the pages, drawn once for every change that a user makes."""

from posture.page.navigation import draw

draw()
