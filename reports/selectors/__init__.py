"""What the pages read. Nothing else in reports touches stored closes or findings."""
