"""The parts drawers, on top of calc: they may use what lies below them, and nothing below knows of them."""
