"""Figures and the printed page of a measured clip. Takes values, opens no record, and is imported by nothing that measures."""

from posture.report.change import draw_change
from posture.report.course import draw_course
from posture.report.heads import draw_heads
from posture.report.page import figures_svg, render_html
from posture.report.places import draw_map
from posture.report.style import png_bytes, svg_text
from posture.report.timeline import draw_timeline

__all__ = [
    "draw_change",
    "draw_course",
    "draw_heads",
    "draw_map",
    "draw_timeline",
    "figures_svg",
    "png_bytes",
    "render_html",
    "svg_text",
]
