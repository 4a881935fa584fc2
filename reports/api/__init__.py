"""Packets and plans for programs; the interface's addresses and description."""
