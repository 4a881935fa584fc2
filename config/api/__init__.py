"""What every resource of the interface for programs shares: errors, bodies, pages, tags."""
