"""Stencilbook: the register of railroad tank cars and their qualification due dates, with reasons."""

__version__ = "0.1.0"
