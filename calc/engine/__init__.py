"""The computation: pure functions on quantities, without Django, the database or the clock."""
