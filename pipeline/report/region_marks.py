"""Shapes for where a store stands and for how far a change is: told apart without colour."""

from pipeline.report import style
from pipeline.report.pen import Box, Pen, Point
from pipeline.report.region_content import Progress, Standing

_DONE, _SOON = "#1F5F78", "#98B4C0"
# How far changes are, from dark (done) to white (nothing yet); the failed carry a cross as well.
FILLS = {
    Progress.VERIFIED: _DONE,
    Progress.IMPLEMENTED: "#4E7B8F",
    Progress.FAILED: style.ALERT,
    Progress.SCHEDULED: _SOON,
    Progress.APPROVED: "#C2D3DA",
    Progress.TO_DECIDE: style.WIFI,
    Progress.UNPUT: style.PAPER,
}
RADIUS = 3.4


def standing_mark(pen: Pen, at: Point, standing: Standing, radius: float = RADIUS) -> None:
    """Draw where a store stands: a disc, a ring, a triangle, a cross; nothing where none is due."""
    x, y = at
    if standing is Standing.DONE:
        pen.circle(at, radius, _DONE, _DONE)
    elif standing is Standing.UNDER_WAY:
        pen.circle(at, radius, style.PAPER, _DONE, 1.0)
    elif standing is Standing.TO_DECIDE:
        corners = ((x, y - radius), (x + radius, y + radius), (x - radius, y + radius))
        pen.polygon(corners, style.WIFI, style.INK, 0.6)
    elif standing is Standing.UNPLANNED:
        pen.line((x - radius, y - radius), (x + radius, y + radius), style.ALERT, 1.2)
        pen.line((x - radius, y + radius), (x + radius, y - radius), style.ALERT, 1.2)


def progress_box(pen: Pen, box: Box, progress: Progress) -> None:
    """Draw a stretch of a bar of changes."""
    pen.rectangle(box, FILLS[progress], style.INK, 0.4)
    if progress is Progress.FAILED and box.w > 1:
        pen.line((box.x, box.y), (box.right, box.bottom), style.PAPER, 0.8)
        pen.line((box.x, box.bottom), (box.right, box.y), style.PAPER, 0.8)
