"""Timed bytes from serial ports that may come and go."""

from acquire.ports.asking import Request
from acquire.ports.listening import listen
from acquire.ports.naming import Found, found_ports, resolve
from acquire.ports.plan import PortPlan, plan_ports
from acquire.ports.reader import Chunk, PortEvent, PortReader

__all__ = [
    "Chunk",
    "Found",
    "PortEvent",
    "PortPlan",
    "PortReader",
    "Request",
    "found_ports",
    "listen",
    "plan_ports",
    "resolve",
]
