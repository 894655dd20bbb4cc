"""What the engine refuses with. Each message is a sentence for whoever filled in the boxes."""


class QuantityError(ValueError):
    """A text is not such a value, or there is no such value."""


class CircuitError(ValueError):
    """The values are values, but there is no such circuit, or nothing can be said about it."""
