"""The addresses of what is measured and computed."""

urlpatterns: list = [
    # readings
]
