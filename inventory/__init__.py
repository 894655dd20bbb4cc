"""The parts drawers, on top of calc: they may use what lies below them, and nothing below knows of them.

Nothing stands here yet. What it will plug into stands: `shop.sockets`, and `intake.keeping.parts_takers` for gear that
is kept for parts.
"""
