"""What is measured and computed on a job: readings, and the engine that understands quantities."""
