"""Stencilbook, the register of railroad tank cars and what falls due on them, with reasons."""

__version__ = "0.1.0"
