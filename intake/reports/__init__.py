"""The shop's reports. Each module works one out: what it reads, what it makes of it, the sheet it shows.

A report's arithmetic is pure: rows and dates in, figures out. `of(asked)` reads the rows, in a number of queries
that doesn't grow with the shop, and returns a `Sheet`, of which the page and the spreadsheet are two views.
"""
