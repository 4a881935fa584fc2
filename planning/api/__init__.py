"""The interface for programs: standing of a token, the base of every resource, tax."""
