"""Pages: translate a request, ask one selector, answer."""
