"""Timed bytes from serial ports that may come and go."""

from acquire.receive.ports.asking import PortPlan, Request, plan_ports
from acquire.receive.ports.naming import Found, found_ports, resolve
from acquire.receive.ports.opening import listen
from acquire.receive.ports.reader import PortReader

__all__ = [
    "Found",
    "PortPlan",
    "PortReader",
    "Request",
    "found_ports",
    "listen",
    "plan_ports",
    "resolve",
]
