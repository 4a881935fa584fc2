"""What was issued: packets with their frozen snapshots and their bytes."""

from reports.models.packets import Packet

__all__ = ["Packet"]
