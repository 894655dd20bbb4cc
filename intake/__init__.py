"""The counter and the bench: people, gear, jobs, tags, estimates, invoices, pickup."""
