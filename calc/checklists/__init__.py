"""Safety checklists: what a line asks, which lists a piece of gear needs, and how a run stands. Knows no Django.

A list is run on a job line by line, from the top. A line that isn't right stops the run until it is mended and tested
again. What a line's reading must keep to is data; whether it does is judged here.
"""

from calc.checklists.lines import Ask, Checklist, Has, Line, Stage

__all__ = ["Ask", "Checklist", "Has", "Line", "Stage"]
