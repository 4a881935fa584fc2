"""What a packet says, as plain frozen data: pure Python, drawn elsewhere."""
